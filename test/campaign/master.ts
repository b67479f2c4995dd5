import { join } from "node:path";
import { flatAgainstTruth } from "../../agent/imaging/proof/flat-against-truth.ts";
import { flat } from "../../agent/procedures/flat/flat.ts";
import { leakCheck } from "../../agent/procedures/leak-check/leak-check.ts";
import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { Random } from "../../drivers/kit/random.ts";
import { drawScene } from "../../sim-devices/scene/spec/draw-scene.ts";
import { benchOnScene, stillMount } from "../agent/procedures/bench-on-world.ts";
import { printTable } from "./print-table.ts";

export interface MasterRow {
  readonly sceneSeed: number;
  /** Rms error of the master over what photons and read noise of its frames allow. */
  readonly overLimit: number;
  readonly withinOneSigma: number;
  readonly verdict: string;
}

export interface MasterCampaign {
  readonly rows: readonly MasterRow[];
  readonly overLimitMost: number;
  readonly withinOneSigmaLeast: number;
  readonly withinOneSigmaMost: number;
  readonly good: number;
  readonly failed: number;
}

/** Whole flats of 40 frames, leak check before them, held against the scene's true pattern. */
export async function run(options: {
  seed: number;
  scenes: number;
  frames?: number;
  print?: (line: string) => void;
}): Promise<MasterCampaign> {
  const { seed, scenes, frames = 40, print } = options;
  const random = new Random(seed);
  const rows: MasterRow[] = [];
  let failed = 0;
  for (let k = 0; k < scenes; k++) {
    const sceneSeed = random.whole(1, 2 ** 31);
    const row = await oneMaster(sceneSeed, frames, print);
    if (row) rows.push(row);
    else failed++;
  }
  const within = rows.map((row) => row.withinOneSigma);
  const result = {
    rows,
    overLimitMost: Math.max(...rows.map((row) => row.overLimit)),
    withinOneSigmaLeast: Math.min(...within),
    withinOneSigmaMost: Math.max(...within),
    good: rows.filter((row) => row.verdict === "good").length,
    failed,
  };
  const percent = (fraction: number) => `${(100 * fraction).toFixed(2)} %`;
  printTable(print, `Master flat: ${scenes} scenes of ${frames} frames, seed ${seed}`, [
    ["rms error over the photon and read limit, worst", result.overLimitMost.toFixed(4), "≤ 1.05"],
    ["pixels within one sigma, least", percent(result.withinOneSigmaLeast), "≥ 66 %"],
    ["pixels within one sigma, most", percent(result.withinOneSigmaMost), "≤ 70 %"],
    ["verdict good", `${result.good} of ${rows.length}`, ""],
    ["flats that came to nothing", failed, "0"],
  ]);
  return result;
}

async function oneMaster(
  sceneSeed: number,
  frames: number,
  print: ((line: string) => void) | undefined,
): Promise<MasterRow | undefined> {
  // Noise is all that is looked at here: what the light writes into a flat is proved elsewhere.
  const spec = drawScene(sceneSeed, { camera: { widthPx: 256, heightPx: 192 }, mount: stillMount }, 0);
  using rig = benchOnScene(spec);
  const { run: runStep, bench, world, painter } = rig;
  const leak = { limitFraction: 0.001, frames: 16, levelFraction: 0.85, coverAfter: "closed" } as const;
  const checked = await runStep(leakCheck, leak);
  const ask = {
    blur: "diffuser",
    frames,
    darkFrames: 16,
    levelFraction: 0.85,
    leakLimitFraction: 0.001,
    proveLight: false,
    coverAfter: "closed",
  } as const;
  const outcome = await runStep(flat, ask);
  if (outcome.ended !== "completed" || !outcome.found) {
    print?.(`scene ${sceneSeed}: ${checked.failure?.message ?? ""} ${outcome.failure?.message ?? ""}`);
    return undefined;
  }
  const master = readCcdImage(join(bench.folder, outcome.found.files.flat));
  const { widthPx, heightPx, data } = master;
  const truth = painter.truth({ gain: 0 });
  const compared = flatAgainstTruth({
    widthPx,
    heightPx,
    master: data,
    sigma: master.sigma!,
    mask: master.mask!,
    truth: truth.flat,
  })!;
  const light = {
    ...world.lightPathNow(),
    coverOpenFraction: 1,
    diffuserInPlace: true,
    smearEastArcsec: 0,
    smearNorthArcsec: 0,
  };
  const camera = world.camera.inForce;
  const electrons = painter.expectedElectrons(light, {
    seconds: outcome.found.exposureSeconds,
    frameType: "flat",
    gain: 0,
    offset: camera.offset,
    binning: 1,
    region: { xPx: 0, yPx: 0, widthPx, heightPx },
    sensorCelsius: world.camera.sensorCelsius,
    frameNumber: 0,
  });
  // The sky may have been clearer or hazier than at this moment: the frames' own level counts.
  const shade = (outcome.found.levelAdu * truth.electronsPerAdu) / meanOf(electrons);
  const step =
    (2 ** (16 - spec.camera.bits) * truth.electronsPerAdu) /
    (spec.camera.words === "plain" ? 2 ** (16 - spec.camera.bits) : 1);
  let relativeVariance = 0;
  let count = 0;
  for (let i = 0; i < electrons.length; i++) {
    if (master.mask![i] !== 0) continue;
    const signal = electrons[i]! * shade;
    relativeVariance += (signal + truth.readNoiseElectrons ** 2 + step ** 2 / 12) / signal ** 2 / frames;
    count++;
  }
  const limit = Math.sqrt(relativeVariance / count);
  if (outcome.found.verdict !== "good") print?.(`scene ${sceneSeed}: ${outcome.found.reasons.join(" | ")}`);
  return {
    sceneSeed,
    overLimit: compared.rmsError / limit,
    withinOneSigma: compared.withinOneSigma,
    verdict: outcome.found.verdict,
  };
}

function meanOf(values: Float32Array): number {
  let sum = 0;
  for (let i = 0; i < values.length; i++) sum += values[i]!;
  return sum / values.length;
}
