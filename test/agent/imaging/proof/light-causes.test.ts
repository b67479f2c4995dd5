import { expect, test } from "vitest";
import { measureLight } from "../../../../agent/imaging/light/measure-light.ts";
import { loadFft } from "../../../../agent/imaging/numerics/fft-library.ts";
import { lightFigures } from "../../../../agent/imaging/proof/light-figures.ts";
import { listReasons, worstVerdict } from "../../../../agent/imaging/proof/proof-figure.ts";
import { type LightSceneOptions, lightScene } from "../light/light-scene.ts";

const fft = await loadFft();
const seed = 20261209;
const shape = { widthPx: 128, heightPx: 96 };

function judged(options: Omit<LightSceneOptions, "seed">) {
  const { input } = lightScene({ seed, shape, hazeGradient: 0.001, ...options });
  const figures = lightFigures(measureLight(fft, { ...input, asksClearShare: true }));
  return { verdict: worstVerdict(figures), reasons: listReasons(figures).join("\n") };
}

const spot = (x: number, y: number) => 1 / (1 + Math.exp((Math.hypot(x - 80, y - 56) - 18) / 3));

test.each<[cause: string, options: Omit<LightSceneOptions, "seed">, words: RegExp]>([
  [
    "a clear share of 2 % before a whole disc",
    { radiusHeights: 0.42, error: (_, __, sun) => Math.log(1 + 0.02 * sun) },
    /lets (1\.[6-9]|2|2\.\d) % of the light through clear.*heavier sheet/,
  ],
  [
    "light that falls off by 3 %",
    { error: (x, y) => -0.06 * (x * x + y * y) },
    /falls off by [2-4](\.\d)? % from the middle.*no gap at its rim/,
  ],
  [
    "a thin patch of 2 %",
    {
      shape: { widthPx: 192, heightPx: 144 },
      error: (x, y) => 0.02 * Math.exp(-((x - 0.1) ** 2 + (y + 0.1) ** 2) / (2 * 0.1 ** 2)),
    },
    /too bright by .* in a patch about \d+, \d+ px.*fold/,
  ],
  [
    "a reflection of 3 % that goes the other way than the Sun",
    { ghost: (shift, x, y) => 0.03 * spot(x + shift.x, y + shift.y) },
    /reflection goes the other way when the Sun moves.*baffle/,
  ],
  [
    "a reflection of 3 % that stands still, in flat and images alike",
    {
      radiusHeights: 0.42,
      shape: { widthPx: 192, heightPx: 144 },
      error: (x, y) => Math.log(1 + 0.03 * spot(128 * (x + 0.5), 96 * (y + 0.5))),
      ghost: (_, x, y) => 0.03 * spot((128 * x) / 192, (96 * y) / 144),
    },
    /reflection stands still when the Sun moves.*cloth/,
  ],
])("%s: not good, and the cause is named", (_, options, words) => {
  const { verdict, reasons } = judged(options);
  expect(verdict, `seed ${seed}`).not.toBe("good");
  expect(reasons, `seed ${seed}`).toMatch(words);
});

test("even light: good, and no cause is named", () => {
  expect(judged({}), `seed ${seed}`).toEqual({ verdict: "good", reasons: "" });
});
