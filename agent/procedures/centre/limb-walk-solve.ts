import { leastSquares } from "../../imaging/numerics/linear-solve.ts";
import type { SkyOffset } from "../../sky/tangent-plane.ts";

/** What one view of a limb says: where the mount would have to point for the disc to be centred. */
export interface LimbView {
  /** Unit vector on the sky from the disc's centre to the limb that was looked at. */
  readonly towards: SkyOffset;
  readonly centre: SkyOffset;
}

export interface WalkSolution {
  readonly centre: SkyOffset;
  /** One sigma of each coordinate, from how well the views agree [arcsec]. */
  readonly sdArcsec: number;
}

/**
 * The centre from views of opposite limbs. What is wrong with the camera's matrix and with the disc's radius in
 * pixels puts every view off by a linear function of its direction: four more unknowns, which opposite limbs cancel.
 */
export function solveLimbViews(views: readonly LimbView[]): WalkSolution | undefined {
  const rows: number[][] = [];
  const values: number[] = [];
  for (const { towards, centre } of views) {
    const { eastArcsec: east, northArcsec: north } = towards;
    rows.push([1, 0, east, north, 0, 0], [0, 1, 0, 0, east, north]);
    values.push(centre.eastArcsec, centre.northArcsec);
  }
  const solved = leastSquares(rows, values);
  if (!solved) return undefined;
  const [eastArcsec = 0, northArcsec = 0] = solved.solution;
  const variance = Math.max(solved.inverse[0]!, solved.inverse[7]!);
  return { centre: { eastArcsec, northArcsec }, sdArcsec: solved.residualSd * Math.sqrt(variance) };
}
