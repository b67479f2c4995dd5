import { leastSquares } from "../numerics/linear-solve.ts";
import type { Shape } from "../numerics/shape.ts";
import type { ShadowMove } from "./shadow-moves.ts";

/** How the dust as a whole has moved from the first picture to the second. */
export interface TrainMove {
  readonly shiftX: number;
  readonly shiftY: number;
  readonly shiftSigmaPx: number;
  /** About the middle of the frame, from x to y (y down). */
  readonly rotationDegrees: number;
  readonly rotationSigmaDegrees: number;
  /** Shadows that go along with it, and those that have stayed although it moved, or moved on their own. */
  readonly along: readonly ShadowMove[];
  readonly apart: readonly ShadowMove[];
}

/** A shadow's own place is known no better: fits differ by as much between kinds of blur. */
const leastSigmaPx = 0.05;
const apartSigmas = 4;
/** The sensor's own pixel pattern pulls a little. */
const apartPx = 0.2;
/** A shadow much shallower or deeper in the second picture is another one. */
const shareRange = [0.5, 2] as const;
const rounds = 4;

/**
 * Shift and rotation that most shadows agree on: of all that two of them propose the one with the largest following,
 * then least squares over its followers.
 * Source: M. A. Fischler and R. C. Bolles, Communications of the ACM 24 (1981) 381.
 * @returns `undefined` with fewer than three shadows that are in both pictures
 */
export function trainMove(moves: readonly ShadowMove[], shape: Shape): TrainMove | undefined {
  const same = moves.filter(({ share }) => share > shareRange[0] && share < shareRange[1]);
  if (same.length < 3) return undefined;
  const middle = { x: (shape.widthPx - 1) / 2, y: (shape.heightPx - 1) / 2 };
  const following = (motion: Motion | undefined) =>
    motion ? same.filter((move) => goesAlong(move, motion, middle)) : [];
  let along: readonly ShadowMove[] = following({ x: 0, y: 0, turn: 0 });
  for (const [k, a] of same.entries())
    for (const b of same.slice(k + 1)) {
      const others = following(motionOf([a, b], middle)?.motion);
      if (others.length > along.length) along = others;
    }
  if (along.length < 3) along = same;
  let fitted = motionOf(along, middle);
  for (let round = 0; round < rounds && fitted; round++) {
    const next = following(fitted.motion);
    if (next.length < 3) break;
    along = next;
    fitted = motionOf(along, middle);
  }
  if (!fitted) return undefined;
  const { motion, sigma } = fitted;
  return {
    shiftX: motion.x,
    shiftY: motion.y,
    shiftSigmaPx: Math.max(sigma.x, sigma.y),
    rotationDegrees: (motion.turn * 180) / Math.PI,
    rotationSigmaDegrees: (sigma.turn * 180) / Math.PI,
    along,
    apart: moves.filter((move) => !along.includes(move)),
  };
}

interface Motion {
  readonly x: number;
  readonly y: number;
  /** [rad] about the middle. */
  readonly turn: number;
}

type Middle = Pick<Motion, "x" | "y">;

function motionOf(
  moves: readonly ShadowMove[],
  middle: Middle,
): { motion: Motion; sigma: Motion } | undefined {
  const weights = moves.map(({ sigmaPx }) => 1 / Math.hypot(sigmaPx, leastSigmaPx));
  const rows = moves.flatMap(({ xPx, yPx }, k) => [
    [weights[k]!, 0, -weights[k]! * (yPx - middle.y)],
    [0, weights[k]!, weights[k]! * (xPx - middle.x)],
  ]);
  const values = moves.flatMap(({ movedX, movedY }, k) => [weights[k]! * movedX, weights[k]! * movedY]);
  const solved = leastSquares(rows, values);
  if (!solved) return undefined;
  const [x = 0, y = 0, turn = 0] = solved.solution;
  const scale = Math.max(1, solved.residualSd);
  const sigmaOf = (k: number) => scale * Math.sqrt(solved.inverse[4 * k]!);
  return { motion: { x, y, turn }, sigma: { x: sigmaOf(0), y: sigmaOf(1), turn: sigmaOf(2) } };
}

function goesAlong(move: ShadowMove, { x, y, turn }: Motion, middle: Middle): boolean {
  const dx = move.movedX - x + turn * (move.yPx - middle.y);
  const dy = move.movedY - y - turn * (move.xPx - middle.x);
  return Math.hypot(dx, dy) < Math.max(apartPx, apartSigmas * move.sigmaPx);
}
