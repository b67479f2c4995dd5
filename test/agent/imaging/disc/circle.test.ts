import { expect, test } from "vitest";
import { fitCircleTaubin, type PointPx } from "../../../../agent/imaging/disc/circle-fit.ts";
import { fitCircleGeometric } from "../../../../agent/imaging/disc/circle-geometric.ts";
import { fitCircleTrimmed } from "../../../../agent/imaging/disc/circle-trim.ts";
import { circleByConsensus } from "../../../../agent/imaging/disc/ransac.ts";
import { Random } from "../../../../drivers/kit/random.ts";

function arc(random: Random, count: number, halfAngle: number, radius: number, sd: number): PointPx[] {
  return Array.from({ length: count }, () => {
    const angle = random.between(-halfAngle, halfAngle);
    return {
      xPx: 50 + radius * Math.cos(angle) + sd * random.gauss(),
      yPx: 80 + radius * Math.sin(angle) + sd * random.gauss(),
    };
  });
}

test("points on a line or too few make no circle", () => {
  const line = [0, 1, 2, 3].map((i) => ({ xPx: i, yPx: 2 * i }));
  expect(fitCircleTaubin(line)).toBeUndefined();
  expect(fitCircleGeometric(line)).toBeUndefined();
  expect(fitCircleGeometric(line.slice(0, 2))).toBeUndefined();
});

test("a short arc with the radius held finds the centre where a free fit is lost (seed 5)", () => {
  const points = arc(new Random(5), 200, 0.12, 2000, 0.5);
  const free = fitCircleGeometric(points)!;
  const held = fitCircleGeometric(points, { prior: { radiusPx: 2000, sdPx: 0 } })!;
  expect(Math.abs(held.xPx - 50)).toBeLessThan(0.3);
  expect(Math.abs(free.xPx - 50)).toBeGreaterThan(3 * Math.abs(held.xPx - 50));
  expect(held.radiusPx).toBe(2000);
  expect(held.covariancePx2[8]).toBe(0);
  const leaning = fitCircleGeometric(points, { prior: { radiusPx: 2000, sdPx: 1 }, pointSdPx: 0.5 })!;
  expect(Math.abs(leaning.xPx - 50)).toBeLessThan(3);
});

test("the covariance tells the scatter of many fits (seed 6)", () => {
  const random = new Random(6);
  const fits = Array.from({ length: 300 }, () => fitCircleGeometric(arc(random, 120, 1, 300, 0.4))!);
  const spread = (values: number[]) => {
    const mean = values.reduce((sum, v) => sum + v, 0) / values.length;
    return Math.sqrt(values.reduce((sum, v) => sum + (v - mean) ** 2, 0) / (values.length - 1));
  };
  const stated = Math.sqrt(fits.reduce((sum, fit) => sum + fit.covariancePx2[0]!, 0) / fits.length);
  expect(spread(fits.map((fit) => fit.xPx)) / stated).toBeGreaterThan(0.85);
  expect(spread(fits.map((fit) => fit.xPx)) / stated).toBeLessThan(1.15);
});

test("a spot's edge and dust among the limb points are dropped (seed 7)", () => {
  const random = new Random(7);
  const good = arc(random, 150, 1.5, 200, 0.2);
  const bad = Array.from({ length: 40 }, () => ({
    xPx: random.between(150, 240),
    yPx: random.between(0, 160),
  }));
  const fit = fitCircleTrimmed([...good, ...bad])!;
  expect(Math.hypot(fit.xPx - 50, fit.yPx - 80)).toBeLessThan(0.3);
  expect(fit.kept.length).toBeLessThan(170);
});

test("consensus finds the circle among twice as many strays (seed 8)", () => {
  const random = new Random(8);
  const toEdge = (point: PointPx) => {
    const distance = Math.hypot(point.xPx - 50, point.yPx - 80);
    return { ...point, towardsX: (50 - point.xPx) / distance, towardsY: (80 - point.yPx) / distance };
  };
  const limb = arc(random, 60, 1, 200, 0.5).map(toEdge);
  const strays = Array.from({ length: 120 }, () => {
    const direction = random.between(0, 2 * Math.PI);
    return {
      xPx: random.between(0, 300),
      yPx: random.between(0, 300),
      towardsX: Math.cos(direction),
      towardsY: Math.sin(direction),
    };
  });
  const vote = circleByConsensus([...limb, ...strays], {
    draws: 400,
    bandPx: 3,
    uniform: () => random.uniform(),
    radius: { radiusPx: 204, toleranceFraction: 0.05 },
  })!;
  expect(Math.hypot(vote.circle.xPx - 50, vote.circle.yPx - 80)).toBeLessThan(8);
  expect(vote.inliers.length).toBeGreaterThan(50);
});
