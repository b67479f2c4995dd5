import { given } from "../../../../drivers/kit/given.ts";
import type { Flat } from "../../../imaging/combining/normalise-flat.ts";
import type { LightInput } from "../../../imaging/light/measure-light.ts";
import { mapInto } from "../../../imaging/numerics/map-into.ts";
import type { LightProof } from "../../../imaging/proof/light-figures.ts";
import { computeInThread } from "../../../threads/compute-in-thread.ts";
import { recycleFrames } from "../../frame-series.ts";
import type { Workbench } from "../../step.ts";
import { readUnhealthyPixels } from "../../unhealthy-px.ts";
import type { LightLooks, NoLooks } from "./light-looks.ts";

/** What the looks say of a flat's light. Their frames are used up. @param asksClearShare of a flat through a diffuser */
export async function measureLooks(
  bench: Workbench,
  flat: Flat,
  looks: LightLooks | NoLooks,
  asksClearShare: boolean,
  signal: AbortSignal,
): Promise<LightProof> {
  if ("notMeasured" in looks) return looks;
  const { pedestalAdu, topAdu } = looks.tuned;
  const unhealthyPx = readUnhealthyPixels(bench, flat.gain.length);
  // Too short exposures for any dark current: the pedestal is all that is taken off.
  const levels = looks.frames.map(({ pixelsAdu }) =>
    mapInto(new Float32Array(pixelsAdu.length), pixelsAdu, (value, i) =>
      value >= topAdu - 1 || unhealthyPx?.[i] === 1 ? Number.NaN : value - pedestalAdu,
    ),
  );
  recycleFrames(
    bench,
    looks.frames.map(({ pixelsAdu }) => pixelsAdu),
  );
  const input = {
    looks: levels,
    expectedShifts: looks.shifts,
    asksClearShare,
    ...given({ disc: looks.disc }),
  };
  return holdAgainstSun(bench, flat, input, signal);
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
  if ("notMeasured" in light) bench.note("the light was not measured", { because: light.notMeasured });
  else {
    const { rms, sigma, worst, zMost, seenFraction, hazeGradient, clearShare, ghosts } = light;
    const figures = { rms, sigma, worst, zMost, seenFraction, hazeGradient };
    bench.note("light of the flat", { ...figures, clearShare, sky: ghosts.sky, ghostMoves: ghosts.moves });
  }
  return light;
}
