import { type FftLibrary, loadFft } from "../../agent/imaging/numerics/fft-library.ts";
import { gaussianBlur } from "../../agent/imaging/numerics/gaussian-blur.ts";
import { findFringes } from "../../agent/imaging/proof/fringes.ts";
import { Random } from "../../drivers/kit/random.ts";
import { ScenePainter } from "../../sim-devices/scene/painter.ts";
import { drawScene } from "../../sim-devices/scene/spec/draw-scene.ts";
import { printTable } from "./print-table.ts";

export interface FringeCampaign {
  readonly scenes: number;
  /** Fringes of 0.5 % peak to peak found with the period right to 2 % and the angle to 1 degree. */
  readonly found: number;
  /** Scenes without fringes in which some were reported. */
  readonly falseAlarms: number;
  readonly periodErrorMost: number;
  readonly degreesErrorMost: number;
  readonly amplitudeRatioLeast: number;
  readonly amplitudeRatioMost: number;
  readonly significanceLeast: number;
  readonly significanceMostWithout: number;
}

const amplitude = 0.0025;

/**
 * Drawn rigs with their dust, vignetting, hot spots, uneven pixels and columns, each with and without fringes. Every other
 * one also carries granulation: of 0.7 % rms with fringes, of 2 % rms without.
 */
export async function run(options: {
  seed: number;
  scenes: number;
  print?: (line: string) => void;
}): Promise<FringeCampaign> {
  const { seed, scenes, print } = options;
  const fft = await loadFft();
  const worst = { period: 0, degrees: 0, least: Infinity, most: 0, significance: Infinity, without: 0 };
  let [found, falseAlarms] = [0, 0];
  for (let k = 0; k < scenes; k++) {
    const random = new Random(seed + k).fork("fringes");
    const truth = { periodPx: 10 ** random.between(0.75, 1.75), degrees: random.between(0, 180), amplitude };
    const grains = k % 2 === 1 ? 1 : 0;
    const seen = look(fft, seed + k, 0.007 * grains, truth);
    const one = seen.found;
    if (one) {
      const period = Math.abs(one.periodPx / truth.periodPx - 1);
      const apart = Math.abs(one.degrees - truth.degrees);
      const degrees = Math.min(apart, 180 - apart);
      if (period <= 0.02 && degrees <= 1) found++;
      else print?.(`scene ${seed + k}: ${told(truth)} found as ${told(one)}`);
      worst.period = Math.max(worst.period, period);
      worst.degrees = Math.max(worst.degrees, degrees);
      worst.least = Math.min(worst.least, one.amplitude / amplitude);
      worst.most = Math.max(worst.most, one.amplitude / amplitude);
      worst.significance = Math.min(worst.significance, one.significance);
    } else
      print?.(
        `scene ${seed + k}: ${told(truth)} not found; strongest ${seen.strongest && told(seen.strongest)} ${seen.strongest?.significance.toFixed(1)}`,
      );
    const without = look(fft, seed + k, 0.02 * grains, undefined);
    worst.without = Math.max(worst.without, without.strongest?.significance ?? 0);
    if (without.found) {
      falseAlarms++;
      print?.(`scene ${seed + k}: ${told(without.found)} reported where there are none`);
    }
  }
  printTable(
    print,
    `Fringes of 0.5 % peak to peak: ${scenes} scenes with and ${scenes} without, seeds from ${seed}`,
    [
      ["found, period to 2 % and angle to 1 degree", `${found} of ${scenes}`, "≥ 99 %"],
      ["reported without any", `${falseAlarms} of ${scenes}`, "≤ 1 %"],
      ["period error, most", `${(100 * worst.period).toFixed(2)} %`, "≤ 2 %"],
      ["angle error, most", `${worst.degrees.toFixed(2)} deg`, "≤ 1 deg"],
      ["amplitude over true, least and most", `${worst.least.toFixed(2)}, ${worst.most.toFixed(2)}`, ""],
      ["least significance with fringes", worst.significance.toFixed(0), ""],
      ["largest without", worst.without.toFixed(1), ""],
    ],
  );
  return {
    scenes,
    found,
    falseAlarms,
    periodErrorMost: worst.period,
    degreesErrorMost: worst.degrees,
    amplitudeRatioLeast: worst.least,
    amplitudeRatioMost: worst.most,
    significanceLeast: worst.significance,
    significanceMostWithout: worst.without,
  };
}

function look(
  fft: FftLibrary,
  sceneSeed: number,
  grains: number,
  fringes: { periodPx: number; degrees: number; amplitude: number } | undefined,
) {
  const truth = new ScenePainter(drawScene(sceneSeed, fringes ? { rig: { fringes } } : {})).truth();
  const shape = { widthPx: truth.widthPx, heightPx: truth.heightPx };
  const random = new Random(sceneSeed).fork("noise");
  const noise = 10 ** random.between(-3.3, -2.5);
  const texture = grains > 0 ? granulation(random, shape, grains) : undefined;
  const gain = truth.flat.map((level, i) => level * (1 + (texture?.[i] ?? 0)) * (1 + noise * random.gauss()));
  const usePx = truth.defects.map((defect) => (defect === 0 ? 1 : 0));
  return findFringes(fft, gain, usePx, shape);
}

/** Grains of 5 to 15 px without a direction, of that rms. */
function granulation(
  random: Random,
  shape: { widthPx: number; heightPx: number },
  rms: number,
): Float32Array {
  const px = shape.widthPx * shape.heightPx;
  const noise = Float32Array.from({ length: px }, () => random.gauss());
  const everywhere = new Uint8Array(px).fill(1);
  const grainPx = random.between(1, 3);
  const fine = gaussianBlur(noise, shape, grainPx, everywhere);
  const coarse = gaussianBlur(noise, shape, 2.5 * grainPx, everywhere);
  for (let i = 0; i < px; i++) fine[i]! -= coarse[i]!;
  const scale = rms / Math.sqrt(fine.reduce((sum, value) => sum + value * value, 0) / px);
  return fine.map((value) => value * scale);
}

function told(one: { periodPx: number; degrees: number; amplitude: number }): string {
  return `${one.periodPx.toFixed(2)} px at ${one.degrees.toFixed(2)} deg, ${(100 * one.amplitude).toFixed(3)} %`;
}
