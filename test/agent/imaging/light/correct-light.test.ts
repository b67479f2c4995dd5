import { expect, test } from "vitest";
import { type CorrectedLight, correctLight } from "../../../../agent/imaging/light/correct-light.ts";
import { divideByFactors, factorAt } from "../../../../agent/imaging/light/light-factors.ts";
import { rms } from "../../../../agent/imaging/light/light-map.ts";
import { loadFft } from "../../../../agent/imaging/numerics/fft-library.ts";
import { blockTruth, type LightScene, type LightSceneOptions, lightScene } from "./light-scene.ts";

const fft = await loadFft();
const seed = 20261205;
const looksOfCross = 9;

interface Corrected {
  readonly scene: LightScene;
  readonly result: CorrectedLight;
}

/** Corrected by nine looks, proved by nine others from between them. */
function corrected(options: Omit<LightSceneOptions, "seed">): Corrected {
  const scene = lightScene({ seed, looks: 17, ...options });
  const { looks, disc, shape, flat } = scene.input;
  const field = { shape, flat, ...(disc ? { disc } : {}) };
  const heldOut = { looks: [looks[0]!, ...looks.slice(looksOfCross)], ...(disc ? { disc } : {}) };
  const input = { ...field, looks: looks.slice(0, looksOfCross), asksClearShare: true, heldOut };
  return { scene, result: correctLight(fft, input) };
}

/** Over the blocks that looks showed, plane taken out: before and after. */
function compare({ scene, result }: Corrected) {
  if ("notMeasured" in result.light) throw new Error(result.light.notMeasured);
  const { map } = result.light;
  const rmsOf = (error: Float32Array) => rms([...blockTruth(error, scene.input.shape, map).values()]);
  const left = scene.error.map((value, i) => value - Math.log(factorAt(result.factors!, i)));
  return { before: rmsOf(scene.error), after: rmsOf(left) };
}

test("3 % through clear and a fall of 3 % before a whole disc go to 0.1 % over 32 px blocks; a slope stays", () => {
  const done = corrected({
    shape: { widthPx: 240, heightPx: 180 },
    radiusHeights: 0.42,
    error: (x, y, sun) => Math.log(1 + 0.03 * sun) - 0.06 * (x * x + y * y) + 0.02 * x,
  });
  const { correction, factors } = done.result;
  expect(correction, `seed ${seed}`).toMatchObject({ kept: true, heldOutLooks: 9 });
  expect(Math.abs(correction.clearShare!.share - 0.03)).toBeLessThan(3 * correction.clearShare!.sigma);
  const { before, after } = compare(done);
  expect(before).toBeGreaterThan(0.01);
  expect(after, `seed ${seed}`).toBeLessThan(0.001);
  expect(correction.after!.rms).toBeLessThan(correction.before!.rms / 10);
  expect(Math.abs(slopeOf(factors!.smooth!, done.scene.input.shape.widthPx)), `seed ${seed}`).toBeLessThan(
    0.001,
  );
});

function slopeOf(factor: Float32Array, widthPx: number): number {
  let [sum, squares] = [0, 0];
  factor.forEach((value, i) => {
    const x = ((i % widthPx) + 0.5) / widthPx - 0.5;
    sum += x * Math.log(value);
    squares += x * x;
  });
  return sum / squares;
}

test("an even light is not corrected, and a correction that others do not bear out is not kept", () => {
  const { result } = corrected({});
  expect(result.factors).toBeUndefined();
  expect(result.correction).toMatchObject({ kept: false, because: "no error of the light is beyond chance" });
  // The frames kept for the proof are those of a flat without that error: what the first ones ask for makes it worse.
  const wrong = lightScene({ seed, looks: 9, error: (x, y) => -0.06 * (x * x + y * y) }).input;
  const straight = lightScene({ seed, looks: 9 }).input;
  const bent = wrong.flat.gain.map((gain, i) => gain / straight.flat.gain[i]!);
  const heldOut = wrong.looks.map((look) => look.map((level, i) => level * bent[i]!));
  const refused = correctLight(fft, { ...wrong, asksClearShare: true, heldOut: { looks: heldOut } });
  expect(refused.factors).toBeUndefined();
  expect(refused.correction.because).toContain("no better flat");
  expect(refused.correction.after!.rms).toBeGreaterThan(refused.correction.before!.rms);
});

test("a flat divided by factors has mean 1 again, and their sigma joins its own", () => {
  const shape = { widthPx: 2, heightPx: 1 };
  const flat = {
    shape,
    gain: new Float32Array([0.9, 1.1]),
    sigma: new Float32Array([0.003, 0.003]),
    mask: new Uint8Array(2),
    levelAdu: 1000,
  };
  const factors = { smooth: new Float32Array([0.9, 1]), sigma: new Float32Array([0, 0.004]) };
  const { gain, sigma, levelAdu } = divideByFactors(flat, factors);
  expect((gain[0]! + gain[1]!) / 2).toBeCloseTo(1, 6);
  expect(gain[1]! / gain[0]!).toBeCloseTo(1.1, 5);
  expect(levelAdu).toBeCloseTo(1050, 3);
  expect(sigma[1]!).toBeCloseTo(Math.hypot(0.003 / 1.05, (0.004 * 1.1) / 1.05), 7);
});
