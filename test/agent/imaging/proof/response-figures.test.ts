import { expect, test } from "vitest";
import { blockLevels } from "../../../../agent/imaging/light/block-levels.ts";
import { type LadderStep, measureResponse } from "../../../../agent/imaging/light/sensor-response.ts";
import { errorBudget } from "../../../../agent/imaging/proof/error-budget.ts";
import { listReasons } from "../../../../agent/imaging/proof/proof-figure.ts";
import { curveOfFlat, responseFigures } from "../../../../agent/imaging/proof/response-figures.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const shape = { widthPx: 192, heightPx: 128 };
const px = shape.widthPx * shape.heightPx;
const topAdu = 65_520;
/** Corners at 0.6. */
const gain = Float32Array.from({ length: px }, (_, i) => {
  const [x, y] = [(i % shape.widthPx) / 96 - 1, Math.floor(i / shape.widthPx) / 64 - 1];
  return 1 - 0.2 * (x * x + y * y);
});
const dark = new Float32Array(px).fill(300);
const level = 0.8;

/** Eight frames down and up again, of light that drifts by half a percent. */
function ladder(bend: number, random: Random): LadderStep[] {
  return [1, 0.6, 0.35, 0.18, 0.18, 0.35, 0.6, 1].map((share, k) => {
    const light = share * level * (1 + 0.005 * (k / 7 - 0.5) + 0.0002 * random.gauss());
    const pixels = Uint16Array.from(gain, (g) => {
      const y = light * g;
      return Math.round(topAdu * y * (1 - bend * y) + 300 + 60 * Math.sqrt(y) * random.gauss());
    });
    return { exposureSeconds: share, seconds: k, levels: blockLevels(pixels, dark, shape, { topAdu }) };
  });
}

const judged = (bend: number, seed: number) => {
  const curve = measureResponse(ladder(bend, new Random(seed)))!;
  // What such a sensor makes of the flat itself.
  const measured = gain.map((g) => g * (1 - bend * level * g));
  const mean = measured.reduce((sum, value) => sum + value, 0) / px;
  const flat = { gain: measured.map((value) => value / mean), mask: new Uint8Array(px), shape };
  const effect = curveOfFlat(curve, flat, { edge: level * (1 - bend * level), mean: level * mean })!;
  const parts = errorBudget(flat, {
    figures: [],
    grey: [],
    fringes: undefined,
    leftoverSun: undefined,
    response: effect,
  }).parts;
  return {
    effect,
    figures: responseFigures(effect),
    budget: parts.find(({ cause }) => cause === "linearity")!,
  };
};

/** Rms of ln(measured/true) over the field, its mean taken out. */
function trueRms(bend: number): number {
  const logs = Array.from(gain, (g) => Math.log(1 - bend * level * g));
  const mean = logs.reduce((sum, value) => sum + value, 0) / px;
  return Math.sqrt(logs.reduce((sum, value) => sum + (value - mean) ** 2, 0) / px);
}

test.each([[0.02], [0.05]])(
  "a response bent by %d is told as the cause, and the budget holds the flat's error",
  (bend) => {
    const { figures, budget, effect } = judged(bend, 11);
    expect(figures[0]).toMatchObject({ id: "response" });
    expect(figures[0]!.verdict).not.toBe("good");
    expect(listReasons(figures).join()).toContain("response is bent");
    expect(budget.state).toBe("measured");
    expect(Math.abs(budget.scales[0]!.rms - trueRms(bend))).toBeLessThan(
      Math.max(2 * effect.ofFlat.sigma, 2e-4),
    );
  },
);

test("a straight response is good, and the budget tells how much could have stayed hidden", () => {
  for (const seed of [1, 2, 3]) {
    const { figures, budget } = judged(0, seed);
    expect(figures[0], `seed ${seed}`).toMatchObject({ verdict: "good", value: 0 });
    expect(budget.state).toBe("bounded");
    expect(budget.scales[0]!.rms).toBeGreaterThan(0);
    expect(budget.scales[0]!.rms).toBeLessThan(0.001);
  }
});

test("blocks that clip, and what is unhealthy, have no level", () => {
  const pixels = Uint16Array.from(gain, (g) => 300 + 20_000 * g);
  pixels[0] = topAdu;
  const unhealthyPx = new Uint8Array(px);
  for (let y = 0; y < 8; y++) unhealthyPx.fill(1, y * shape.widthPx + 8, y * shape.widthPx + 16);
  const levels = blockLevels(pixels, dark, shape, { topAdu, unhealthyPx });
  expect([levels[0], levels[1]]).toEqual([Number.NaN, Number.NaN]);
  expect(levels).toHaveLength(24 * 16);
  expect((levels[4 * 24 + 6]! * topAdu) / (20_000 * gain[36 * 192 + 52]!)).toBeCloseTo(1, 2);
});
