import { leastSquares } from "../numerics/linear-solve.ts";
import type { LightMap } from "./light-map.ts";

/** Blocks that so few others tell are not reckoned. */
const blocksLeast = 12;

/**
 * A map with the parts that nobody saw: what is smooth goes on there as its quadratic surface does.
 * @returns as it is where too few blocks were seen
 */
export function reckonUnseen<M extends Pick<LightMap, "sidePx" | "columns" | "error">>(map: M): M {
  const { columns, error } = map;
  const rows = Math.ceil(error.length / columns);
  const termsOf = (b: number) => {
    const [x, y] = [((b % columns) + 0.5) / columns - 0.5, (Math.floor(b / columns) + 0.5) / rows - 0.5];
    return [1, x, y, x * x, y * y, x * y];
  };
  const seen = [...error.keys()].filter((b) => !Number.isNaN(error[b]!));
  if (seen.length < blocksLeast || seen.length === error.length) return map;
  const fit = leastSquares(
    seen.map(termsOf),
    seen.map((b) => error[b]!),
  );
  if (!fit) return map;
  const valueAt = (b: number) => termsOf(b).reduce((sum, term, t) => sum + term * fit.solution[t]!, 0);
  return { ...map, error: error.map((value, b) => (Number.isNaN(value) ? valueAt(b) : value)) };
}
