import type { FftLibrary } from "../numerics/fft-library.ts";
import type { ClearShare } from "./clear-share.ts";
import { divideByFactors, factorsOf, type LightFactors, widenByCells } from "./light-factors.ts";
import { type LightMap, rms } from "./light-map.ts";
import { describeLight, type LightMeasurement, leftoverOf, smoothMapOf } from "./measure-light.ts";
import { type LightInput, type SolvedLooks, solveLooks } from "./solve-looks.ts";

export interface CorrectionInput extends LightInput {
  /** Looks that the correction does not know, to prove it with; the Sun's disc as the first of them shows it. */
  readonly heldOut: Pick<LightInput, "looks" | "expectedShifts" | "disc">;
}

/** What looks that a correction does not know say of the flat's light. */
export interface LightAtLooks {
  /** Over the blocks seen, plane taken out: haze is in it. */
  readonly rms: number;
  /** Largest error of a block that is beyond chance. */
  readonly worst: number;
}

/** What was taken out of a flat, or why nothing was. */
export interface LightCorrection {
  readonly kept: boolean;
  readonly because?: string;
  /** Of the light, that a sheet let through clear. */
  readonly clearShare?: ClearShare;
  /** Smooth map: rms over the blocks that the looks showed. */
  readonly smoothRms?: number;
  readonly heldOutLooks: number;
  readonly before?: LightAtLooks;
  readonly after?: LightAtLooks;
}

export interface CorrectedLight {
  /** Of the flat as it is after all: corrected, as the looks say that the correction does not know; or as it was. */
  readonly light: LightMeasurement | { readonly notMeasured: string };
  readonly correction: LightCorrection;
  /** Of a correction that is kept. */
  readonly factors?: LightFactors;
}

const clearSigmas = 3;
/** As for an error of the flat: in thousands of even flats no block was so many sigmas out. */
const mapSigmas = 5;

/**
 * What the light wrote into a flat, as factors that it can be divided by: the clear share and a smooth map, as far as they are
 * beyond chance, never a slope. Kept only if looks that it does not know show a better flat with it.
 */
export function correctLight(fft: FftLibrary, input: CorrectionInput): CorrectedLight {
  const { shape, heldOut, flat, asksClearShare = false } = input;
  const solved = solveLooks(fft, input);
  const light = "notMeasured" in solved ? solved : describeLight(input, solved);
  const heldOutLooks = heldOut.looks.length;
  const notKept = (because: string, more: Partial<LightCorrection> = {}): CorrectedLight => ({
    light,
    correction: { kept: false, because, heldOutLooks, ...more },
  });
  if ("notMeasured" in solved || "notMeasured" in light) return notKept("the light was not measured");
  const { clearShare, ghosts } = light;
  const clear = clearShare !== undefined && clearShare.share > clearSigmas * clearShare.sigma;
  // A share that is not there would be traded for a smooth map.
  const own = clear || !asksClearShare ? solved : solveLooks(fft, { ...input, asksClearShare: false });
  const map = "notMeasured" in own ? undefined : smoothMapOf(own, shape);
  if ("notMeasured" in own || !map) return notKept("the light was not measured");
  const smooth = isBeyondChance(map.map);
  if (!clear && !smooth) return notKept("no error of the light is beyond chance");
  if (ghosts.moves !== undefined)
    return notKept(
      "a reflection lies over the frames of the Sun, and what they show is not the flat's light alone",
    );
  const factors = factorsOf(own, map, input, {
    ...(clear ? { clear: clearShare } : {}),
    smooth,
  });
  const found = {
    ...(clear ? { clearShare: { share: clearShare.share, sigma: clearShare.sigma } } : {}),
    ...(smooth ? { smoothRms: rms(map.map.error.filter((value) => !Number.isNaN(value))) } : {}),
  };
  const asked = { shape, asksClearShare, ...heldOut };
  const asTaken = { ...flat, sigma: new Float32Array(flat.gain.length), levelAdu: 1 };
  const before = lightAt(fft, { ...asked, flat });
  const after = lightAt(fft, { ...asked, flat: divideByFactors(asTaken, factors) });
  if (!before || !after) return notKept("the frames kept to prove it with did not tell", found);
  const proved = { ...found, before: summarise(before.light), after: summarise(after.light) };
  if (!(proved.after.rms < proved.before.rms && proved.after.worst <= proved.before.worst))
    return notKept("frames that it does not know show no better flat with it", proved);
  const { cells, sidePx } = leftoverOf(after.solved, shape);
  widenByCells(factors.sigma, shape, cells, sidePx);
  return { light: after.light, correction: { kept: true, heldOutLooks, ...proved }, factors };
}

function isBeyondChance({ error, sigma }: LightMap): boolean {
  return error.some((value, b) => Math.abs(value) > mapSigmas * sigma[b]!);
}

function lightAt(
  fft: FftLibrary,
  input: LightInput,
): { readonly light: LightMeasurement; readonly solved: SolvedLooks } | undefined {
  const solved = solveLooks(fft, input);
  if ("notMeasured" in solved) return undefined;
  const light = describeLight(input, solved);
  return "notMeasured" in light ? undefined : { light, solved };
}

function summarise(light: LightMeasurement): LightAtLooks {
  return { rms: light.rms, worst: light.surely.worst };
}
