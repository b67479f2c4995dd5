import type { Shape } from "../numerics/shape.ts";
import type { ShiftPx } from "./object-grid.ts";
import { UnsolvableSeriesError } from "./unsolvable-series.ts";

/** How far shifts lie apart along the line where they do least, and across it. */
export interface ShiftReach {
  /** Root mean square about their mean [px]. */
  readonly leastPx: number;
  readonly mostPx: number;
  /** Direction in which they lie least apart, -90 … 90: 0 along the rows, 90 along the columns. */
  readonly leastDegrees: number;
}

/** From the covariance of the shifts; its eigenvalues are those of a symmetric 2 x 2 matrix. */
export function measureReach(shifts: readonly ShiftPx[]): ShiftReach {
  const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
  const [x0, y0] = [mean(shifts.map(({ x }) => x)), mean(shifts.map(({ y }) => y))];
  const xx = mean(shifts.map(({ x }) => (x - x0) ** 2));
  const yy = mean(shifts.map(({ y }) => (y - y0) ** 2));
  const xy = mean(shifts.map(({ x, y }) => (x - x0) * (y - y0)));
  const half = Math.hypot((xx - yy) / 2, xy);
  const most = Math.atan2(2 * xy, xx - yy) / 2;
  const degrees = (most * 180) / Math.PI + 90;
  return {
    leastPx: Math.sqrt(Math.max(0, (xx + yy) / 2 - half)),
    mostPx: Math.sqrt((xx + yy) / 2 + half),
    leastDegrees: degrees > 90 ? degrees - 180 : degrees,
  };
}

/**
 * Shifts are found to a twentieth of a pixel, and frames over their average hold little of a Sun that hardly moved: below
 * this the shifts themselves mean nothing. Own measurement: at 3 px the flat is hardly better than a plain average.
 */
const reachLeastPx = 3;
/** Along a line the reach has to be this share of that across it, else structure along the line stays. */
const lopsided = 0.1;

/** Shifts that lie so much more apart one way than across are called a line. */
const lineShare = 0.5;

/** @throws UnsolvableSeriesError when the Sun moved too little, or along one line only */
export function checkReach(reach: ShiftReach, shape: Shape): void {
  const { leastPx, mostPx } = reach;
  if (leastPx >= reachLeastPx && leastPx >= lopsided * mostPx) return;
  const onLine = mostPx >= reachLeastPx && leastPx < lineShare * mostPx;
  throw new UnsolvableSeriesError(
    onLine
      ? `The Sun moved along one line only: by ${mostPx.toFixed(1)} px (rms) on it and ${leastPx.toFixed(1)} px ${directionText(reach)}`
      : `The Sun moved by ${mostPx.toFixed(1)} px (rms) only`,
    `Structure of the Sun can't be told from the rig's. ${describeMoves(reach, shape)}`,
  );
}

/** How to take a better series. */
export function describeMoves(reach: ShiftReach, { widthPx, heightPx }: Shape): string {
  const wantedPx = Math.round(Math.min(widthPx, heightPx) / 5);
  const where =
    reach.leastPx < lineShare * reach.mostPx ? `, above all ${directionText(reach)}` : " in both directions";
  return `Take a series in which the Sun wanders by ${wantedPx} px or more to every side of the middle${where}.`;
}

function directionText({ leastDegrees }: ShiftReach): string {
  const tilt = Math.abs(leastDegrees);
  if (tilt < 22.5) return "to left and right";
  if (tilt > 67.5) return "up and down";
  return leastDegrees > 0 ? "from upper left to lower right" : "from lower left to upper right";
}
