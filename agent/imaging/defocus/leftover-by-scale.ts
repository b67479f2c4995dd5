import { invertSymmetric } from "../numerics/linear-solve.ts";
import { fillInto, mapInto } from "../numerics/map-into.ts";
import type { Shape } from "../numerics/shape.ts";
import { lookSidePx, type SkyObservation } from "./look-levels.ts";

export interface LeftoverScale {
  readonly sidePx: number;
  /** Rms of what moves with the Sun and is not in its model, a share of the level; noise is not in it. */
  readonly rms: number;
  readonly sigma: number;
}

export interface Leftover {
  readonly scales: readonly LeftoverScale[];
  /**
   * How much one look's light leans against another's from edge to edge, rms: haze that is thicker on one side leans the
   * frames of a series as much.
   */
  readonly haze: { readonly acrossX: number; readonly acrossY: number };
}

const scales = [1, 2, 4, 8, 16] as const;

/**
 * Structure that looks from different pointings do not share: the Sun's. What is the rig's is the same in every look
 * and falls out with the mean of all; noise falls out because both halves of a look must show the structure;
 * a lean of a whole look is the sky's, and is told apart.
 * @param light logarithm of the light's model in a block of a look, by its middle; NaN where it is not to be used
 */
export function leftoverByScale(
  shape: Shape,
  looks: readonly SkyObservation[],
  light: (look: SkyObservation, middle: { x: number; y: number }) => number,
): Leftover {
  const side = lookSidePx(shape);
  const columns = Math.ceil(shape.widthPx / side);
  const rows = Math.ceil(shape.heightPx / side);
  const residuals = looks.map((look) => {
    const model = fillInto(new Float32Array(columns * rows), (b) =>
      light(look, {
        x: ((b % columns) + 0.5) * side - 0.5,
        y: (Math.floor(b / columns) + 0.5) * side - 0.5,
      }),
    );
    const overModel = (levels: Float32Array) =>
      mapInto(
        new Float32Array(model.length),
        levels,
        (level, b) => (level > 0 ? Math.log(level) : Number.NaN) - model[b]!,
      );
    return [overModel(look.first), overModel(look.second)] as const;
  });
  for (const half of [0, 1] as const) takeMeanOff(residuals.map((pair) => pair[half]));
  const leans = residuals.map(([a, b]) => takeLeanOff(a, b, columns, rows));
  // The mean of all looks took a share of each one's own with it.
  const kept = 1 - 1 / looks.length;
  // So did the light's curvature of what goes with the pointing, along both axes.
  const free = Math.max(1, looks.length - 3) / looks.length;
  const rmsOf = (values: readonly number[]) => Math.sqrt(meanOf(values.map((value) => value ** 2)) / free);
  const haze = { acrossX: rmsOf(leans.map(({ x }) => x)), acrossY: rmsOf(leans.map(({ y }) => y)) };
  const byScale = scales
    .filter((times) => 4 * times <= Math.min(columns, rows))
    .map((times) => {
      const parts = residuals.map(([a, b]) => blockProducts(a, b, columns, rows, times));
      const blocks = parts.reduce((sum, part) => sum + part.blocks, 0);
      const variance = parts.reduce((sum, part) => sum + part.product, 0) / Math.max(1, blocks) / kept;
      const squares = parts.reduce((sum, part) => sum + part.squares, 0) / Math.max(1, blocks);
      const varianceSigma = Math.sqrt(squares / Math.max(1, blocks)) / kept;
      const rms = Math.sqrt(Math.max(0, variance));
      return {
        sidePx: times * side,
        rms,
        sigma: varianceSigma / (2 * Math.max(rms, Math.sqrt(varianceSigma))),
      };
    });
  return { scales: byScale, haze };
}

/** The plane of both halves of a look together. @returns its rise from edge to edge */
function takeLeanOff(a: Float32Array, b: Float32Array, columns: number, rows: number) {
  const [normal, right] = [new Float64Array(9), new Float64Array(3)];
  const terms = (block: number) =>
    [1, ((block % columns) + 0.5) / columns - 0.5, (Math.floor(block / columns) + 0.5) / rows - 0.5] as const;
  for (let block = 0; block < a.length; block++) {
    const value = (a[block]! + b[block]!) / 2;
    if (Number.isNaN(value)) continue;
    const row = terms(block);
    for (let i = 0; i < 3; i++) {
      right[i]! += row[i]! * value;
      for (let j = 0; j < 3; j++) normal[3 * i + j]! += row[i]! * row[j]!;
    }
  }
  const inverse = invertSymmetric([...normal], 3);
  if (!inverse) return { x: 0, y: 0 };
  const [level, x, y] = [0, 1, 2].map((i) =>
    right.reduce((sum, one, j) => sum + inverse[3 * i + j]! * one, 0),
  ) as [number, number, number];
  for (let block = 0; block < a.length; block++) {
    const [, u, v] = terms(block);
    const plane = level + x * u + y * v;
    a[block]! -= plane;
    b[block]! -= plane;
  }
  return { x, y };
}

/** Each block's mean over the looks that can use it, then each look's own mean. */
function takeMeanOff(pictures: readonly Float32Array[]): void {
  const blocks = pictures[0]?.length ?? 0;
  for (let b = 0; b < blocks; b++) {
    let [sum, count] = [0, 0];
    for (const picture of pictures) {
      if (Number.isNaN(picture[b]!)) continue;
      sum += picture[b]!;
      count++;
    }
    for (const picture of pictures) picture[b]! -= count > 1 ? sum / count : Number.NaN;
  }
}

function blockProducts(a: Float32Array, b: Float32Array, columns: number, rows: number, times: number) {
  const valuesA: number[] = [];
  const valuesB: number[] = [];
  for (let y0 = 0; y0 + times <= rows; y0 += times)
    for (let x0 = 0; x0 + times <= columns; x0 += times) {
      let [sumA, sumB, count] = [0, 0, 0];
      for (let y = y0; y < y0 + times; y++)
        for (let i = y * columns + x0; i < y * columns + x0 + times; i++) {
          if (Number.isNaN(a[i]!) || Number.isNaN(b[i]!)) continue;
          sumA += a[i]!;
          sumB += b[i]!;
          count++;
        }
      if (count < 0.75 * times * times) continue;
      valuesA.push(sumA / count);
      valuesB.push(sumB / count);
    }
  const meanA = meanOf(valuesA);
  const meanB = meanOf(valuesB);
  let [product, squares] = [0, 0];
  for (let k = 0; k < valuesA.length; k++) {
    const both = (valuesA[k]! - meanA) * (valuesB[k]! - meanB);
    product += both;
    squares += both * both;
  }
  return { product, squares, blocks: valuesA.length };
}

function meanOf(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / Math.max(1, values.length);
}
