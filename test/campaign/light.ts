import { correctLight } from "../../agent/imaging/light/correct-light.ts";
import { factorAt, type LightFactors } from "../../agent/imaging/light/light-factors.ts";
import { rms } from "../../agent/imaging/light/light-map.ts";
import { measureLight } from "../../agent/imaging/light/measure-light.ts";
import { loadFft } from "../../agent/imaging/numerics/fft-library.ts";
import { lightFigures } from "../../agent/imaging/proof/light-figures.ts";
import { worstVerdict } from "../../agent/imaging/proof/proof-figure.ts";
import { Random } from "../../drivers/kit/random.ts";
import { blockTruth, type LightSceneOptions, lightScene } from "../agent/imaging/light/light-scene.ts";
import { printTable } from "./print-table.ts";

/** Fractions of blocks whose true error lies within one and two sigma of what was found. */
interface Coverage {
  within1: number;
  within2: number;
  count: number;
}

const shape = { widthPx: 320, heightPx: 240 };
const looksOfCross = 9;

/** Draws rigs, whole discs and close-ups alike: how well the light's error is told, and how honest its sigma is. */
export async function run(options: {
  seed: number;
  scenes: number;
  print?: (line: string) => void;
}): Promise<void> {
  const { seed, scenes, print } = options;
  const fft = await loadFft();
  const random = new Random(seed);
  const bySize = new Map<number, Coverage>();
  const clear: number[] = [];
  const left: number[] = [];
  let [wronglyGood, bad, wronglyDoubted, fine, notMeasured, ghosts, uncorrected] = [0, 0, 0, 0, 0, 0, 0];
  for (let k = 0; k < scenes; k++) {
    const drawn = drawLight(random);
    const scene = lightScene({ seed: random.whole(1, 2 ** 31), shape, looks: 17, ...drawn.options });
    const { looks, disc, ...input } = scene.input;
    const seen = { looks: looks.slice(0, looksOfCross), ...(disc ? { disc } : {}) };
    const heldOut = { ...seen, looks: [looks[0]!, ...looks.slice(looksOfCross)] };
    const light = measureLight(fft, { ...input, ...seen, asksClearShare: drawn.share !== undefined });
    if ("notMeasured" in light) {
      notMeasured++;
      continue;
    }
    const truth = blockTruth(scene.error, shape, light.map);
    addCoverage(bySize, truth, light.map);
    const { factors } = correctLight(fft, { ...input, ...seen, asksClearShare: true, heldOut });
    if (factors) left.push(blockRmsLeft(scene.error, factors, light.map));
    else if (rms([...truth.values()]) > 0.001) uncorrected++;
    const worst = Math.max(...[...truth.values()].map(Math.abs));
    const verdict = worstVerdict(lightFigures(light));
    if (worst > 0.004) {
      bad++;
      if (verdict === "good") wronglyGood++;
    }
    if (worst < 0.0015) {
      fine++;
      if (verdict !== "good") wronglyDoubted++;
    }
    if (light.ghosts.moves !== undefined) ghosts++;
    if (drawn.share !== undefined && light.clearShare)
      clear.push((light.clearShare.share - drawn.share) / light.clearShare.sigma);
  }
  const percent = (part: number, of: number) => `${((100 * part) / Math.max(1, of)).toFixed(1)} %`;
  printTable(print, `Light against the Sun: ${scenes} scenes, seed ${seed}`, [
    ...[...bySize].flatMap(
      ([sidePx, { within1, within2, count }]) =>
        [
          [`blocks of ${sidePx} px within one sigma`, percent(within1, count), "68 %"],
          [`blocks of ${sidePx} px within two sigma`, percent(within2, count), "95 %"],
        ] as const,
    ),
    ["good with an error above 0.4 %", percent(wronglyGood, bad), "≤ 1 %"],
    ["doubted with errors below 0.15 %", percent(wronglyDoubted, fine), "≤ 2 %"],
    [
      "clear share within two sigma",
      percent(clear.filter((off) => Math.abs(off) < 2).length, clear.length),
      "95 %",
    ],
    ["reflections told where there is none", percent(ghosts, scenes), "≤ 1 %"],
    ["not measured", notMeasured, "0"],
    [
      `corrected to 0.1 % over 32 px blocks, of ${left.length}`,
      percent(left.filter((value) => value <= 0.001).length, left.length),
      "95 %",
    ],
    ["errors above 0.1 % that were not corrected", uncorrected, "0"],
  ]);
}

/** Of the blocks that looks showed. */
function blockRmsLeft(
  error: Float32Array,
  factors: LightFactors,
  map: Parameters<typeof blockTruth>[2],
): number {
  const left = error.map((value, i) => value - Math.log(factorAt(factors, i)));
  return rms([...blockTruth(left, shape, map).values()]);
}

function drawLight(random: Random): { options: Omit<LightSceneOptions, "seed">; share?: number } {
  const options = {
    radiusHeights: random.pick([0.42, 3.1]),
    hazeGradient: random.between(0.0003, 0.005),
    reachHeights: random.between(0.2, 0.28),
  };
  const kind = random.pick(["none", "bump", "fall", "share"] as const);
  if (kind === "none") return { options };
  if (kind === "share") {
    const share = random.between(0.002, 0.03);
    return { options: { ...options, error: (_, __, sun) => Math.log(1 + share * sun) }, share };
  }
  const size = random.between(0.002, 0.02);
  if (kind === "fall") return { options: { ...options, error: (x, y) => -2 * size * (x * x + y * y) } };
  const [atX, atY, wide] = [random.between(-0.3, 0.3), random.between(-0.3, 0.3), random.between(0.15, 0.3)];
  const bump = (x: number, y: number) =>
    size * Math.exp(-((x - atX) ** 2 + (y - atY) ** 2) / (2 * wide ** 2));
  return { options: { ...options, error: bump } };
}

function addCoverage(
  bySize: Map<number, Coverage>,
  truth: ReadonlyMap<number, number>,
  map: { readonly sidePx: number; readonly error: readonly number[]; readonly sigma: readonly number[] },
): void {
  const all = bySize.get(map.sidePx) ?? { within1: 0, within2: 0, count: 0 };
  for (const [b, value] of truth) {
    const off = Math.abs(map.error[b]! - value) / map.sigma[b]!;
    if (off < 1) all.within1++;
    if (off < 2) all.within2++;
    all.count++;
  }
  bySize.set(map.sidePx, all);
}
