import { given } from "../../../../drivers/kit/given.ts";
import type { Flat } from "../../../imaging/combining/normalise-flat.ts";
import type { CorrectionInput, LightCorrection } from "../../../imaging/light/correct-light.ts";
import type { LightFactors } from "../../../imaging/light/light-factors.ts";
import type { LightInput } from "../../../imaging/light/solve-looks.ts";
import { straightLevel } from "../../../imaging/light/straighten.ts";
import { fillInto, mapInto } from "../../../imaging/numerics/map-into.ts";
import type { LightProof } from "../../../imaging/proof/light-figures.ts";
import type { ResponseProof } from "../../../imaging/proof/response-figures.ts";
import { computeInThread } from "../../../threads/compute-in-thread.ts";
import { recycleFrames } from "../../frame-series.ts";
import type { Workbench } from "../../step.ts";
import { readUnhealthyPixels } from "../../unhealthy-px.ts";
import { levelsOfLook } from "./levels-of-look.ts";
import type { LightLooks, LooksRoundAbout, NoLooks } from "./light-looks.ts";

/** What the Sun says of a flat's light, and what is to be divided out of the flat. */
export interface JudgedLight {
  readonly light: LightProof;
  /** Where it was to be corrected. */
  readonly correction?: LightCorrection;
  readonly factors?: LightFactors;
}

/**
 * What the looks say of a flat's light. Their frames are used up.
 * @param about whether the flat was taken through a diffuser; the sensor's curve, which is no error of the light, and whether the
 * flat is free of it already
 */
export async function measureLooks(
  bench: Workbench,
  taken: Flat,
  looks: LightLooks | NoLooks,
  about: {
    readonly asksClearShare: boolean;
    readonly response?: ResponseProof | undefined;
    readonly isStraight?: boolean;
  },
  signal: AbortSignal,
): Promise<JudgedLight> {
  if ("notMeasured" in looks) return { light: looks };
  const { pedestalAdu, topAdu } = looks.tuned;
  const { asksClearShare, response, isStraight = false } = about;
  const straighten = straightener(response, topAdu);
  const { levelAdu } = taken;
  const gain = mapInto(new Float32Array(taken.gain.length), taken.gain, (value) =>
    isStraight ? value : straighten(value * levelAdu) / levelAdu,
  );
  const flat = { ...taken, gain };
  const levelOfCode = fillInto(new Float32Array(2 ** 16), (code) => straighten(code - pedestalAdu));
  const unhealthyPx = readUnhealthyPixels(bench, flat.gain.length);
  const inputOf = ({ frames, shifts, disc }: LooksRoundAbout) => {
    const levels = frames.map((frame) =>
      levelsOfLook(frame, topAdu, unhealthyPx, (code) => levelOfCode[code]!),
    );
    recycleFrames(
      bench,
      frames.map(({ pixelsAdu }) => pixelsAdu),
    );
    return { looks: levels, expectedShifts: shifts, ...given({ disc }) };
  };
  const input = { ...inputOf(looks), asksClearShare };
  if (!looks.heldOut) return { light: await holdAgainstSun(bench, flat, input, signal) };
  return correctAgainstSun(bench, flat, { ...input, heldOut: inputOf(looks.heldOut) }, signal);
}

/** Levels as a straight sensor would have them; as they are where the curve is not known. */
function straightener(response: ResponseProof | undefined, topAdu: number): (levelAdu: number) => number {
  if (!response || "notMeasured" in response) return (levelAdu) => levelAdu;
  const curve = { coefficients: response.coefficients, topAdu };
  return (levelAdu) => straightLevel(curve, levelAdu);
}

/** Beside the watch over the rig. */
export async function holdAgainstSun(
  bench: Workbench,
  { shape, gain, mask }: Flat,
  input: Omit<LightInput, "shape" | "flat">,
  signal: AbortSignal,
): Promise<LightProof> {
  bench.progress({ what: "holding the light against the Sun", done: 0, of: 1 });
  const at = { signal, pxCount: gain.length };
  const light = await computeInThread(bench, at, "measureLight", { ...input, shape, flat: { gain, mask } });
  noteLight(bench, light);
  return light;
}

async function correctAgainstSun(
  bench: Workbench,
  { shape, gain, mask }: Flat,
  input: Omit<CorrectionInput, "shape" | "flat">,
  signal: AbortSignal,
): Promise<JudgedLight> {
  bench.progress({ what: "correcting the light by the Sun", done: 0, of: 1 });
  const at = { signal, pxCount: gain.length };
  const about = { ...input, shape, flat: { gain, mask } };
  const judged = await computeInThread(bench, at, "correctLight", about);
  noteLight(bench, judged.light);
  bench.note("correction of the light", { ...judged.correction });
  return judged;
}

function noteLight(bench: Workbench, light: LightProof): void {
  if ("notMeasured" in light) {
    bench.note("the light was not measured", { because: light.notMeasured });
    return;
  }
  const { rms, sigma, worst, zMost, seenFraction, hazeGradient, clearShare, ghosts } = light;
  const figures = { rms, sigma, worst, zMost, seenFraction, hazeGradient };
  bench.note("light of the flat", { ...figures, clearShare, sky: ghosts.sky, ghostMoves: ghosts.moves });
}
