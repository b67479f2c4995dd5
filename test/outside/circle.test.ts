import { expect, test } from "vitest";
import { type Circle, fitCircleTaubin, type PointPx } from "../../agent/imaging/disc/circle-fit.ts";
import { fitCircleGeometric } from "../../agent/imaging/disc/circle-geometric.ts";
import { ransacDraws } from "../../agent/imaging/disc/ransac.ts";
import { Random } from "../../drivers/kit/random.ts";
import { check } from "./check.ts";

/** Sources: Gander, Golub & Strebel 1994 for the six points; the others computed independently with numpy and scipy. */

const pointsOf = (pairs: [number, number][]): PointPx[] => pairs.map(([xPx, yPx]) => ({ xPx, yPx }));

const numbersOf = (circle: Circle | undefined) => [circle?.xPx, circle?.yPx, circle?.radiusPx];

/** Root of the summed squares of the points' distances from a circle. */
function distance(points: readonly PointPx[], [x, y, r]: readonly number[]): number {
  return Math.hypot(...points.map(({ xPx, yPx }) => Math.hypot(xPx - x!, yPx - y!) - r!));
}

/** As the check says: gauss(seed) gives all x first, then all y. */
function noisyArc(degrees: number[], radius: number, centre: [number, number], seed: number): PointPx[] {
  const random = new Random(seed);
  const x = degrees.map((a) => centre[0] + radius * Math.cos((a * Math.PI) / 180) + 0.5 * random.gauss());
  const y = degrees.map((a) => centre[1] + radius * Math.sin((a * Math.PI) / 180) + 0.5 * random.gauss());
  return x.map((xPx, i) => ({ xPx, yPx: y[i]! }));
}

test("six published points: geometric fit", () => {
  const one = check("circle.gander.geometric");
  const fit = fitCircleGeometric(pointsOf(one.inputs.points))!;
  one.agrees("x", fit.xPx);
  one.agrees("y", fit.yPx);
  one.agrees("r", fit.radiusPx);
  // The printed value is the root of the summed squares; ours divides by the three degrees of freedom.
  one.agrees("residualNorm", fit.residualSdPx * Math.sqrt(3));
});

test("the same points: Taubin's fit", () => {
  const one = check("circle.taubin");
  const fit = fitCircleTaubin(pointsOf(one.inputs.points));
  one.agrees("x", fit?.xPx);
  one.agrees("y", fit?.yPx);
  one.agrees("r", fit?.radiusPx);
});

test("the fits that are not built: their listed circles lie farther from the six points than the one that is used", () => {
  for (const id of ["circle.gander.algebraic", "circle.kasa", "circle.pratt"]) {
    const { inputs, expected } = check(id);
    const points = pointsOf(inputs.points);
    const ours = distance(points, numbersOf(fitCircleGeometric(points)) as number[]);
    expect(distance(points, [expected.x, expected.y, expected.r]), id).toBeGreaterThan(ours);
  }
});

test("an arc of 60 degrees with noise: the fits in use and their bias, and the bias of those that are not", () => {
  const one = check("circle.arc60");
  const { inputs, expected } = one;
  const degrees = Array.from({ length: 61 }, (_, i) => i - 30);
  const points = noisyArc(degrees, inputs.radius, inputs.centre, 7);
  const taubin = fitCircleTaubin(points);
  const geometric = fitCircleGeometric(points);
  one.agrees("taubin", numbersOf(taubin));
  one.agrees("geometric", numbersOf(geometric));
  // Where least squares begin from: Taubin's radius is nearest to where they end.
  const off = (radius: number) => Math.abs(radius - geometric!.radiusPx);
  expect(off(taubin!.radiusPx)).toBeLessThan(off(expected.pratt[2]));
  expect(off(taubin!.radiusPx)).toBeLessThan(off(expected.kasa[2]));
});

test("a whole circle with noise", () => {
  const one = check("circle.full");
  const { inputs, expected } = one;
  const degrees = Array.from({ length: 360 }, (_, i) => i);
  const points = noisyArc(degrees, inputs.radius, inputs.centre, 8);
  const geometric = fitCircleGeometric(points);
  one.agrees("geometric", numbersOf(geometric));
  expect(distance(points, expected.kasa)).toBeGreaterThan(distance(points, numbersOf(geometric) as number[]));
});

test("the covariance that the geometric fit states is the Cramér-Rao bound, from whole circles to short arcs", () => {
  const one = check("circle.arc-precision");
  const sds = one.inputs.halfAngleDeg.map((half: number) => {
    const n = 4001;
    const closing = half === 180 ? n : n - 1; // a whole circle must not count its seam twice
    const points = Array.from({ length: n }, (_, i) => {
      const angle = ((-half + (2 * half * i) / closing) * Math.PI) / 180;
      // A radial scatter of exactly one pixel that is orthogonal to every parameter but the sign.
      const radius = 1e6 + (i % 2 === 0 ? 1 : -1);
      return { xPx: radius * Math.cos(angle), yPx: radius * Math.sin(angle) };
    });
    const fit = fitCircleGeometric(points)!;
    const unit = fit.residualSdPx / Math.sqrt(n);
    return [0, 4, 8].map((i) => Math.sqrt(fit.covariancePx2[i]!) / unit);
  });
  ["sdAlongBisector", "sdAcross", "sdRadius"].forEach((name, i) => {
    one.agrees(
      name,
      sds.map((sd: number[]) => sd[i]),
    );
  });
});

test("how many draws a consensus needs", () => {
  const one = check("circle.ransac-draws");
  const { inlierFraction, confidence, sample } = one.inputs;
  one.agrees(
    "draws",
    inlierFraction.map((w: number) => ransacDraws(w, confidence, sample)),
  );
});
