import { expect, test } from "vitest";
import { judgeLeak, type LeakInput } from "../../../../agent/imaging/proof/leak.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const shape = { widthPx: 256, heightPx: 192 };
const px = shape.widthPx * shape.heightPx;

/** Dark current with warm pixels; the covered set on the Sun may be warmer, and light may leak in. */
function sets(options: {
  warmer?: number;
  leak?: (x: number, y: number) => number;
  seed?: number;
}): LeakInput {
  const { warmer = 0, leak = () => 0, seed = 6 } = options;
  const random = new Random(seed);
  const current = Float32Array.from({ length: px }, () => 40 * Math.exp(0.2 * random.gauss()));
  for (let k = 0; k < 200; k++) current[random.whole(0, px - 1)] = random.between(1000, 20_000);
  const noise = () => 5 * random.gauss();
  const darkAdu = current.map((value) => 800 + value + noise());
  const coveredAdu = current.map(
    (value, i) =>
      800 + value * (1 + warmer) + leak(i % shape.widthPx, Math.floor(i / shape.widthPx)) + noise(),
  );
  const levels = (mean: number) => Array.from({ length: 16 }, () => mean + 0.3 * random.gauss());
  return {
    shape,
    coveredAdu,
    darkAdu,
    coveredLevelsAdu: levels(840),
    darkLevelsAdu: levels(840),
    biasAdu: 800,
    flatLevelAdu: 50_000,
  };
}

test("nothing but noise: no leak, and the limit of detection is stated", () => {
  const report = judgeLeak(sets({}));
  expect(report).toMatchObject({ found: false, verdict: "good" });
  expect(report.detectionLimitFraction).toBeLessThan(1e-4);
});

test("a sensor 5 % warmer on the Sun is dark current, not a leak", () => {
  const report = judgeLeak(sets({ warmer: 0.05 }));
  expect(report.darkMismatch).toBeCloseTo(0.05, 2);
  expect(report.found).toBe(false);
});

test("a one-sided leak: size, side and advice", () => {
  const report = judgeLeak(sets({ leak: (x) => 100 + 0.7 * (x - 128) }));
  expect(report).toMatchObject({ found: true, shapeOfIt: "one-sided", verdict: "usable" });
  expect(report.meanLeakAdu).toBeCloseTo(100, -1);
  expect(Math.abs(report.gradientDegrees)).toBeLessThan(5);
  expect(report.whatToDo).toContain("bright side");
});

test("a patch of light is found where it is, through a warmer sensor", () => {
  const leak = (x: number, y: number) => 300 * Math.exp(-((x - 190) ** 2 + (y - 60) ** 2) / (2 * 25 ** 2));
  const report = judgeLeak(sets({ warmer: 0.03, leak }));
  expect(report).toMatchObject({ found: true, shapeOfIt: "patch" });
  expect(Math.hypot(report.brightestPx.xPx - 190, report.brightestPx.yPx - 60)).toBeLessThan(25);
});

test("a cover that did not close says so", () => {
  const report = judgeLeak(sets({ leak: () => 4000 }));
  expect(report).toMatchObject({ found: true, verdict: "bad", shapeOfIt: "even" });
  expect(report.whatToDo).toContain("did not close");
});
