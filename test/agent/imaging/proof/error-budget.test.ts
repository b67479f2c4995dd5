import { describe, expect, test } from "vitest";
import { contrastByScale } from "../../../../agent/imaging/proof/contrast-by-scale.ts";
import { type BudgetCause, errorBudget, largestError } from "../../../../agent/imaging/proof/error-budget.ts";
import { judgeFigure } from "../../../../agent/imaging/proof/proof-figure.ts";
import { budgetCards } from "../../../../agent/masters/budget-cards.ts";
import { errorCharts } from "../../../../agent/outputs/error-charts.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const shape = { widthPx: 320, heightPx: 256 };
const px = shape.widthPx * shape.heightPx;
const flat = {
  shape,
  // 1/gain lies 0.1 either side of 1
  gain: Float32Array.from({ length: px }, (_, i) => 1 / (Math.floor(i / shape.widthPx) % 2 ? 1.1 : 0.9)),
  mask: new Uint8Array(px),
};
const nothing = { figures: [], grey: [], fringes: undefined, leftoverSun: undefined };
type Known = Parameters<typeof errorBudget>[1];
const budgetOf = (known: Partial<Known>, light?: Parameters<typeof errorBudget>[2]) =>
  errorBudget(flat, { ...nothing, ...known }, light);
const partOf = (cause: BudgetCause, ...of: Parameters<typeof budgetOf>) =>
  budgetOf(...of).parts.find((part) => part.cause === cause)!;
const at = (scales: readonly { sidePx: number; rms: number }[], sidePx: number) =>
  scales.find((one) => one.sidePx === sidePx)?.rms;

describe("an error budget", () => {
  test("of a flat that nobody looked at names every cause, and its sum is nothing", () => {
    const budget = budgetOf({});
    expect(new Set(budget.parts.map(({ state }) => state))).toEqual(new Set(["not looked at"]));
    expect(budget.parts).toHaveLength(9);
    expect(largestError(budget.sum)).toBe(0);
    expect(
      budget.sum.map(({ sidePx }) => sidePx),
      "four blocks on the short side",
    ).toEqual([1, 2, 4, 8, 16, 32, 64]);
  });

  test("noise averages out over blocks", () => {
    const { state, scales } = partOf("noise", { figures: [judgeFigure("noise", 0.0016)] });
    expect(state).toBe("measured");
    expect([at(scales, 1), at(scales, 16)]).toEqual([0.0016, 0.0001]);
  });

  test("what changed while the flat was taken: as seen, or what could stay hidden", () => {
    const scale = { sidePx: 16, blocks: 300, ratio: 1, band: 0.2, excess: 0, excessSigma: 2e-4 };
    expect(partOf("change", { grey: [scale] })).toMatchObject({
      state: "bounded",
      scales: [{ sidePx: 16, rms: 2e-4 }],
    });
    expect(partOf("change", { grey: [{ ...scale, excess: 1e-3 }] })).toMatchObject({
      state: "measured",
      scales: [{ sidePx: 16, rms: 1e-3 }],
    });
  });

  test("the light as the Sun sees it: all of its map, the same at finer scales, never below its sigma", () => {
    // Rows of blocks in turn too bright and too dark by 0.4 %, and 0.1 % over both; one column that nobody saw.
    const columns = 5;
    const map = (unevenness: number) => ({
      sidePx: 32,
      columns,
      error: Array.from({ length: 20 }, (_, b) =>
        b % columns === 4 ? Number.NaN : unevenness * (Math.floor(b / columns) % 2 ? 5 : -3),
      ),
    });
    const sigmas = [32, 64].map((sidePx) => ({ sidePx, sigma: 3e-4 }));
    const { state, scales } = partOf("light", {}, { map: map(0.001), scales: sigmas });
    expect(state).toBe("measured");
    expect([1, 32].map((sidePx) => at(scales, sidePx))).toEqual(
      Array(2).fill(expect.closeTo(Math.sqrt(17) / 1000, 9)),
    );
    // What nobody saw is reckoned, and never makes it smaller.
    expect(at(scales, 64)).toBeGreaterThanOrEqual(0.001);
    expect(at(scales, 64)).toBeLessThan(0.002);
    const even = partOf("light", {}, { map: map(1e-5), scales: sigmas });
    expect([even.state, at(even.scales, 8)]).toEqual(["bounded", 3e-4]);
  });

  const unseen = { map: { sidePx: 32, columns: 0, error: [] }, scales: [] };

  test("reflections: none found is what may have stayed hidden, one that was found is more than what was seen of it", () => {
    const scan = [{ motion: -1, rms: 0.003 }];
    const ghosts = (found: { moves?: -1 }) =>
      partOf("ghosts", {}, { ...unseen, ghosts: { ...found, scan, hidden: 0.001 } });
    const none = ghosts({});
    expect([none.state, at(none.scales, 8)]).toEqual(["bounded", 0.001]);
    const seen = ghosts({ moves: -1 });
    expect([seen.state, at(seen.scales, 8)]).toEqual(["measured", expect.closeTo(0.005, 9)]);
    expect(partOf("ghosts", {}, unseen).state).toBe("not looked at");
  });

  test("a slope through a sheet is as well known as the sky was steady", () => {
    const slopeBound = { across: 0.001, down: 0, acrossSigma: 0.003, downSigma: 0.003 };
    const unknown = partOf("slope", {}, { ...unseen, slopeBound });
    expect([unknown.state, at(unknown.scales, 32)]).toEqual([
      "bounded",
      expect.closeTo(0.006 * Math.sqrt(2 / 12), 9),
    ]);
  });

  test("where nobody saw, a bowl goes on: the whole frame's error is in it", () => {
    const [columns, rows] = [10, 8];
    const bowl = (b: number) => {
      const [x, y] = [(b % columns) / columns - 0.45, Math.floor(b / columns) / rows - 0.4375];
      return 0.02 * (x * x + y * y);
    };
    const error = Array.from({ length: columns * rows }, (_, b) => bowl(b));
    const isSeen = (b: number) => Math.hypot((b % columns) - 4.5, Math.floor(b / columns) - 3.5) < 3;
    const map = { sidePx: 32, columns, error: error.map((value, b) => (isSeen(b) ? value : Number.NaN)) };
    const whole = Math.sqrt(error.reduce((sum, value) => sum + value * value, 0) / error.length);
    const { scales } = partOf("light", {}, { map, scales: [{ sidePx: 32, sigma: 1e-4 }] });
    expect(at(scales, 32)).toBeCloseTo(whole, 6);
  });

  test("a slope is known where the Sun's own levels told it, within its sigma", () => {
    for (const id of ["planeUnsure", "lightGradient"] as const) {
      const { state, scales } = partOf("slope", { figures: [judgeFigure(id, 0.0024)] });
      expect([state, at(scales, 32)]).toEqual(["bounded", 0.0024 / Math.sqrt(12)]);
    }
  });

  test("the Sun's picture: what was found, or three sigmas; of a flat by defocus over its noise", () => {
    const found = {
      ...{ share: 0.01, shareSigma: 0.001, rms: 0.002, rmsSigma: 1e-4 },
      ...{ worst: 0.008, worstSigma: 4e-4 },
    };
    expect(partOf("leftoverSun", { leftoverSun: found })).toMatchObject({ state: "measured" });
    const none = partOf("leftoverSun", { leftoverSun: { ...found, rms: 2e-4 } });
    expect([none.state, at(none.scales, 4), at(none.scales, 64)]).toEqual([
      "bounded",
      expect.closeTo(3e-4, 9),
      undefined,
    ]);
    const figures = [judgeFigure("noise", 0.002), judgeFigure("blurLeftover", 0.5)];
    expect(at(partOf("leftoverSun", { figures }).scales, 4)).toBe(0.001);
  });

  test("fringes: half of peak to peak over √2, and none over blocks that hold their period", () => {
    const fringe = {
      periodPx: 20,
      degrees: 0,
      amplitude: 0.004,
      amplitudeSigma: 1e-4,
      significance: 50,
    };
    const seen = partOf("fringes", {
      fringes: { found: fringe, strongest: fringe, limit: 1e-3 } as Known["fringes"],
    });
    expect(seen.state).toBe("measured");
    expect([at(seen.scales, 8), at(seen.scales, 16)]).toEqual([0.004 * Math.SQRT1_2, undefined]);
    const none = partOf("fringes", {
      fringes: { found: undefined, strongest: fringe, limit: 1e-3 } as Known["fringes"],
    });
    expect([none.state, at(none.scales, 32), at(none.scales, 64)]).toEqual([
      "bounded",
      1e-3 * Math.SQRT1_2,
      undefined,
    ]);
  });

  test("stray light counts by how uneven the flat is: an even flat does not mind an even veil", () => {
    const figures = [judgeFigure("leak", 0.005, 1e-4)];
    const seen = partOf("dark", { figures });
    expect(seen.state).toBe("measured");
    expect(at(seen.scales, 1)).toBeCloseTo(0.005 * 0.1, 6);
    const even = errorBudget({ ...flat, gain: new Float32Array(px).fill(1) }, { ...nothing, figures });
    expect(at(even.parts.find(({ cause }) => cause === "dark")!.scales, 1)).toBe(0);
    const none = partOf("dark", { figures: [judgeFigure("leak", 0, 1e-4)] });
    expect([none.state, at(none.scales, 1)]).toEqual(["bounded", expect.closeTo(3e-4 * 0.1, 8)]);
  });

  test("its sum is the root of squares of what is known, scale by scale", () => {
    const figures = [judgeFigure("noise", 0.003), judgeFigure("planeUnsure", 0.004 * Math.sqrt(12))];
    const { sum } = budgetOf({ figures });
    expect(at(sum, 1)).toBeCloseTo(0.005, 9);
    expect(at(sum, 64)).toBeCloseTo(Math.hypot(0.003 / 64, 0.004), 9);
  });
});

describe("a budget for people", () => {
  const budget = budgetOf({ figures: [judgeFigure("noise", 0.003), judgeFigure("leak", 0, 1e-4)] });

  test("stands in the header: sums by scale, every cause with how it is known", () => {
    const cards = budgetCards(budget);
    expect(cards).toContainEqual({
      keyword: "ERR1PX",
      value: 0.003,
      comment: "rms error of 1 px blocks, known causes",
    });
    const texts = cards.filter(({ keyword }) => keyword === "COMMENT").map(({ value }) => value);
    expect(texts).toContain("error by photons and read noise: 0.30 % (measured)");
    expect(texts).toContain("error by unevenness of the light: not looked at");
    for (const text of texts) expect(String(text).length).toBeLessThanOrEqual(72);
  });

  test("is drawn with a bar for what is known and a question for what nobody looked at", () => {
    const [byCause, byScale] = errorCharts(budget, [{ sidePx: 1, rms: 0.02 }]);
    expect(byCause!.svg.match(/nobody looked/g)).toHaveLength(7);
    for (const text of [
      "0.3 %",
      "at most 0.003 %",
      "all that is known together",
      "0.3 % + ?",
      "nobody will see it",
    ])
      expect(byCause!.svg).toContain(text);
    expect(byCause!.caption).toContain(
      "Nobody looked at: change while it was taken, unevenness of the light",
    );
    expect(byScale!.svg).toContain("what an image shows");
    expect(errorCharts(budget, [])[1]!.svg).not.toContain("what an image shows");
  });
});

test("what an image of the day shows: noise by the size of blocks, the rig's own pattern and the dark sky left out", () => {
  const seed = 20260621;
  const random = new Random(seed);
  const image = flat.gain.map(
    (gain, i) => 100 + (i % shape.widthPx < 200 ? 1000 * gain * (1 + 0.02 * random.gauss()) : 3),
  );
  const contrast = contrastByScale(image, 100, flat, [1, 4, 16, 128]);
  expect(
    contrast.map(({ sidePx }) => sidePx),
    `seed ${seed}`,
  ).toEqual([1, 4, 16]);
  expect(contrast[0]!.rms / 0.02, `seed ${seed}`).toBeCloseTo(1, 1);
  expect(contrast[1]!.rms / 0.005, `seed ${seed}`).toBeCloseTo(1, 1);
});
