import { expect, test } from "vitest";
import {
  fitCircleKasa,
  fitCirclePratt,
  fitCircleTaubin,
  type PointPx,
} from "../../agent/imaging/disc/circle-fit.ts";
import { fitCircleGeometric } from "../../agent/imaging/disc/circle-geometric.ts";
import { ransacDraws } from "../../agent/imaging/disc/ransac.ts";
import { Random } from "../../drivers/kit/random.ts";
import { check } from "./check.ts";

/** Sources: Gander, Golub & Strebel 1994 for the six points; the others computed independently with numpy and scipy. */

const pointsOf = (pairs: [number, number][]): PointPx[] => pairs.map(([xPx, yPx]) => ({ xPx, yPx }));

function expectCircle(
  circle: { xPx: number; yPx: number; radiusPx: number } | undefined,
  [x, y, r]: readonly number[],
  within: number,
): void {
  expect(circle).toBeDefined();
  expect(Math.abs(circle!.xPx - x!)).toBeLessThan(within);
  expect(Math.abs(circle!.yPx - y!)).toBeLessThan(within);
  expect(Math.abs(circle!.radiusPx - r!)).toBeLessThan(within);
}

/** As the check says: gauss(seed) gives all x first, then all y. */
function noisyArc(degrees: number[], radius: number, centre: [number, number], seed: number): PointPx[] {
  const random = new Random(seed);
  const x = degrees.map((a) => centre[0] + radius * Math.cos((a * Math.PI) / 180) + 0.5 * random.gauss());
  const y = degrees.map((a) => centre[1] + radius * Math.sin((a * Math.PI) / 180) + 0.5 * random.gauss());
  return x.map((xPx, i) => ({ xPx, yPx: y[i]! }));
}

test("six published points: geometric fit", () => {
  const { inputs, expected, tolerance } = check("circle.gander.geometric");
  const fit = fitCircleGeometric(pointsOf(inputs.points))!;
  expectCircle(fit, [expected.x, expected.y, expected.r], tolerance.abs);
  // The printed value is the root of the summed squares; ours divides by the three degrees of freedom.
  expect(Math.abs(fit.residualSdPx * Math.sqrt(3) - expected.residualNorm)).toBeLessThan(0.0005);
});

test("the unit-norm algebraic fit is not built: its published circle lies farther from the points than any of ours", () => {
  const { inputs, expected } = check("circle.gander.algebraic");
  const points = pointsOf(inputs.points);
  const distance = (circle: { xPx: number; yPx: number; radiusPx: number }) =>
    Math.hypot(
      ...points.map(({ xPx, yPx }) => Math.hypot(xPx - circle.xPx, yPx - circle.yPx) - circle.radiusPx),
    );
  const theirs = distance({ xPx: expected.x, yPx: expected.y, radiusPx: expected.r });
  for (const method of [fitCircleKasa, fitCirclePratt, fitCircleTaubin, fitCircleGeometric]) {
    expect(distance(method(points)!)).toBeLessThan(theirs);
  }
});

test.each([
  ["circle.kasa", fitCircleKasa],
  ["circle.pratt", fitCirclePratt],
  ["circle.taubin", fitCircleTaubin],
] as const)("%s on the same points", (id, method) => {
  const { inputs, expected, tolerance } = check(id);
  expectCircle(method(pointsOf(inputs.points)), [expected.x, expected.y, expected.r], tolerance.abs);
});

test("an arc of 60 degrees with noise: every fit and its bias", () => {
  const { inputs, expected, tolerance } = check("circle.arc60");
  const degrees = Array.from({ length: 61 }, (_, i) => i - 30);
  const points = noisyArc(degrees, inputs.radius, inputs.centre, 7);
  expectCircle(fitCircleKasa(points), expected.kasa, tolerance.abs);
  // The listed Pratt values carry the rounding of an unscaled eigenvalue solver; 40-digit arithmetic gives these.
  expectCircle(fitCirclePratt(points), [500.92109616, 300.17021887, 999.11996501], 1e-6);
  expectCircle(fitCirclePratt(points), expected.pratt, 0.001);
  expectCircle(fitCircleTaubin(points), expected.taubin, tolerance.abs);
  expectCircle(fitCircleGeometric(points), expected.geometric, tolerance.abs);
});

test("a whole circle with noise", () => {
  const { inputs, expected, tolerance } = check("circle.full");
  const degrees = Array.from({ length: 360 }, (_, i) => i);
  const points = noisyArc(degrees, inputs.radius, inputs.centre, 8);
  expectCircle(fitCircleKasa(points), expected.kasa, tolerance.abs);
  expectCircle(fitCircleGeometric(points), expected.geometric, tolerance.abs);
});

test("the covariance that the geometric fit states is the Cramér-Rao bound, from whole circles to short arcs", () => {
  const { inputs, expected, tolerance } = check("circle.arc-precision");
  inputs.halfAngleDeg.forEach((half: number, k: number) => {
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
    const sd = [0, 4, 8].map((i) => Math.sqrt(fit.covariancePx2[i]!) / unit);
    for (const [value, wanted] of [
      [sd[0]!, expected.sdAlongBisector[k]],
      [sd[1]!, expected.sdAcross[k]],
      [sd[2]!, expected.sdRadius[k]],
    ]) {
      expect(Math.abs(value / wanted - 1), `half angle ${half}`).toBeLessThan(tolerance.rel);
    }
  });
});

test("how many draws a consensus needs", () => {
  const { inputs, expected } = check("circle.ransac-draws");
  expect(inputs.inlierFraction.map((w: number) => ransacDraws(w, inputs.confidence, inputs.sample))).toEqual(
    expected.draws,
  );
});
