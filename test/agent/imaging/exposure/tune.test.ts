import { expect, test } from "vitest";
import { type LevelReading, readLevel } from "../../../../agent/imaging/exposure/frame-level.ts";
import {
  adviseExposure,
  type TuneAdvice,
  type TuneSetting,
} from "../../../../agent/imaging/exposure/tune.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const shape = { widthPx: 160, heightPx: 128 };
const px = shape.widthPx * shape.heightPx;
const setting: TuneSetting = { exposureSeconds: { min: 1e-4, max: 100 } };

/** Twelve bits in 16-bit words, 12 000 electrons at the top, a vignetted field. */
function frame(
  random: Random,
  exposureSeconds: number,
  electronsPerSecond: number,
  pedestal = 50,
): LevelReading {
  const pixels = Uint16Array.from({ length: px }, (_, i) => {
    const [u, v] = [(i % shape.widthPx) / 80 - 1, Math.floor(i / shape.widthPx) / 64 - 1];
    const electrons = exposureSeconds * electronsPerSecond * (1 - 0.12 * (u * u + v * v));
    const code = pedestal + (electrons + Math.sqrt(electrons + 9) * random.gauss()) / 3;
    return 16 * Math.min(4095, Math.max(0, Math.round(code)));
  });
  return readLevel(pixels, shape, exposureSeconds, { pedestalAdu: 0, topAdu: 65535 });
}

function tune(
  electronsPerSecond: (frameIndex: number) => number,
  options: { setting?: Partial<TuneSetting>; startSeconds?: number; seed?: number } = {},
): { advice: TuneAdvice; readings: LevelReading[] } {
  const random = new Random(options.seed ?? 1);
  const asked = { ...setting, ...options.setting };
  const readings: LevelReading[] =
    options.startSeconds === undefined ? [] : [frame(random, options.startSeconds, electronsPerSecond(0))];
  for (;;) {
    const advice = adviseExposure(asked, readings);
    if (advice.kind !== "expose") return { advice, readings };
    readings.push(frame(random, advice.exposureSeconds, electronsPerSecond(readings.length)));
  }
}

test.each([2e2, 1e4, 1e6, 3e7])(
  "from the shortest exposure, at %d electrons a second, in five frames or fewer",
  (rate) => {
    const { advice, readings } = tune(() => rate);
    expect(advice).toMatchObject({ kind: "done", quality: "good", topAdu: 65520 });
    expect(readings.length).toBeLessThanOrEqual(5);
    expect(readings[0]!.exposureSeconds).toBe(1e-4);
    if (advice.kind === "done") expect(Math.abs(advice.edgeFraction - 0.85)).toBeLessThan(0.01);
  },
);

test("a start that is wholly clipped is left in big steps; nine frames are never needed", () => {
  for (const startSeconds of [0.5, 5, 50]) {
    const { advice, readings } = tune(() => 1e6, { startSeconds });
    expect(advice.kind).toBe("done");
    expect(readings.length).toBeLessThanOrEqual(6);
  }
});

test("a frame that is clipped in part tells enough for the next", () => {
  const { advice, readings } = tune(() => 1e6, { startSeconds: 0.0125 });
  expect(readings[0]!.clippedFraction).toBeGreaterThan(0.01);
  expect(advice.kind).toBe("done");
  expect(readings.length).toBeLessThanOrEqual(4);
});

test("thin cloud: levels that scatter by a fifth end in a clear answer, not in an exposure", () => {
  const random = new Random(3);
  const { advice, readings } = tune(() => 1e6 * random.between(0.7, 1.1));
  expect(advice).toMatchObject({ kind: "gaveUp", reason: "unsteady" });
  expect(readings.length).toBe(9);
});

test("an offset that cuts the dark at zero is named", () => {
  const random = new Random(4);
  const advice = adviseExposure(setting, [frame(random, 1e-4, 1e4, 0)]);
  expect(advice).toMatchObject({ kind: "gaveUp", reason: "offsetTooLow" });
});

test("the camera's own step is kept to", () => {
  const { advice, readings } = tune(() => 1e6, {
    setting: { exposureSeconds: { min: 1e-4, max: 100, step: 1e-4 } },
  });
  expect(advice.kind).toBe("done");
  for (const { exposureSeconds } of readings) expect((exposureSeconds * 1e4) % 1).toBeCloseTo(0, 6);
});

test("light of four times the rig's history is an alarm, of twice it is not", () => {
  // 16 adu a code, a third of a code an electron.
  const history = { edgeAduPerSecond: (1e4 * 16) / 3, pedestalAdu: 800, topAdu: 65_520 };
  const setting = { history, clearestAduPerSecond: history.edgeAduPerSecond };
  expect(tune(() => 2e4, { setting, startSeconds: 0.1 }).advice.kind).toBe("done");
  const { advice, readings } = tune(() => 6e4, { setting, startSeconds: 0.1 });
  expect(advice).toMatchObject({
    kind: "alarm",
    what: expect.stringMatching(/[5-6]\.\d times brighter than this rig's/),
  });
  expect(readings.length).toBe(1);
});
