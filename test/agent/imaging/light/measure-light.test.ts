import { expect, test } from "vitest";
import { type LightMeasurement, measureLight } from "../../../../agent/imaging/light/measure-light.ts";
import { loadFft } from "../../../../agent/imaging/numerics/fft-library.ts";
import { blockTruth, type LightScene, type LightSceneOptions, lightScene } from "./light-scene.ts";

const fft = await loadFft();
const seed = 20261201;

function measured(
  options: Omit<LightSceneOptions, "seed">,
  asks = {},
): { scene: LightScene; light: LightMeasurement } {
  const scene = lightScene({ seed, ...options });
  const light = measureLight(fft, { ...scene.input, ...asks });
  if ("notMeasured" in light) throw new Error(`${light.notMeasured}, seed ${seed}`);
  return { scene, light };
}

/** Rms of what was found less what is true, and the fraction of blocks within two and a half sigma. */
function compare({ scene, light }: ReturnType<typeof measured>) {
  const { shape } = scene.input;
  const truth = [...blockTruth(scene.error, shape, light.map)];
  const off = truth.map(([b, value]) => light.map.error[b]! - value);
  return {
    rms: Math.sqrt(off.reduce((sum, value) => sum + value * value, 0) / off.length),
    trueRms: Math.sqrt(truth.reduce((sum, [, value]) => sum + value * value, 0) / truth.length),
    within: truth.filter(([b], k) => Math.abs(off[k]!) < 2.5 * light.map.sigma[b]!).length / truth.length,
  };
}

test("light without error: nothing is found, and every look finds its place", () => {
  const result = measured({});
  const { light, scene } = result;
  expect(light.zMost, `seed ${seed}`).toBeLessThan(4);
  expect(compare(result).within).toBeGreaterThan(0.9);
  expect(light.seenFraction).toBeGreaterThan(0.9);
  light.looks.forEach(({ shift }, k) => {
    expect(Math.hypot(shift!.x - scene.shifts[k]!.x, shift!.y - scene.shifts[k]!.y)).toBeLessThan(0.3);
  });
});

test("a smooth bump of 1 % and a fall towards the corners are found, with their sigma", () => {
  const bump = measured({ error: (x, y) => 0.01 * Math.exp(-((x - 0.1) ** 2 + y * y) / (2 * 0.22 ** 2)) });
  const fall = measured({ error: (x, y) => -0.06 * (x * x + y * y) });
  for (const result of [bump, fall]) {
    const { rms, trueRms, within } = compare(result);
    expect(trueRms).toBeGreaterThan(0.0018);
    expect(rms, `seed ${seed}`).toBeLessThan(0.0015);
    expect(within).toBeGreaterThan(0.9);
    expect(result.light.zMost).toBeGreaterThan(3);
  }
});

test("haze that is three times as uneven makes the sigma wider, not the flat worse", () => {
  const { light } = measured({ hazeGradient: 0.01 });
  expect(light.hazeGradient, `seed ${seed}`).toBeGreaterThan(0.005);
  expect(light.zMost).toBeLessThan(4.5);
});

test("a sheet that lets 2 % through clear: the share is told, limb and all", () => {
  const disc = { shape: { widthPx: 240, heightPx: 180 }, radiusHeights: 0.42 } as const;
  const clear = { error: (_: number, __: number, sun: number) => Math.log(1 + 0.02 * sun) };
  const { light } = measured({ ...disc, ...clear }, { asksClearShare: true });
  const { share, sigma } = light.clearShare!;
  expect(Math.abs(share - 0.02), `seed ${seed}`).toBeLessThan(Math.max(2.5 * sigma, 0.001));
  expect(sigma).toBeLessThan(0.0015);
  const none = measured(disc, { asksClearShare: true }).light.clearShare!;
  expect(Math.abs(none.share)).toBeLessThan(3 * none.sigma + 0.0005);
});

test("frames that show nothing, and too few of them, are not measured", () => {
  const { input } = lightScene({ seed });
  const dark = input.looks.map((look) => look.map(() => 0));
  expect(measureLight(fft, { ...input, looks: dark })).toHaveProperty("notMeasured");
  expect(measureLight(fft, { ...input, looks: input.looks.slice(0, 3) })).toHaveProperty("notMeasured");
});

test("blocks that the frame's edge cuts are told as well as whole ones", () => {
  // 144 px are four and a half blocks.
  const share = 0.02;
  const cut = measured(
    { hazeGradient: 0.0003, error: (_, __, sun) => Math.log(1 + share * sun) },
    { asksClearShare: true },
  );
  const { rms } = compare(cut);
  expect(rms, `seed ${seed}`).toBeLessThan(0.0005);
});
