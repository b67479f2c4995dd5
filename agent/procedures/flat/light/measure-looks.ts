import { given } from "../../../../drivers/kit/given.ts";
import type { Flat } from "../../../imaging/combining/normalise-flat.ts";
import type { LightMeasurement } from "../../../imaging/light/measure-light.ts";
import { computeInThread } from "../../../threads/compute-in-thread.ts";
import { recycleFrames } from "../../frame-series.ts";
import type { Workbench } from "../../step.ts";
import { readUnhealthyPixels } from "../../unhealthy-px.ts";
import type { LightLooks, NoLooks } from "./expose-looks.ts";

/** What the looks say of a flat's light. Their frames are used up. @param asksClearShare of a flat through a diffuser */
export async function measureLooks(
  bench: Workbench,
  flat: Flat,
  looks: LightLooks | NoLooks,
  asksClearShare: boolean,
  signal: AbortSignal,
): Promise<LightMeasurement | NoLooks> {
  if ("notMeasured" in looks) return looks;
  const { shape, gain, mask } = flat;
  const { pedestalAdu, topAdu } = looks.tuned;
  const unhealthyPx = readUnhealthyPixels(bench, gain.length);
  // Too short exposures for any dark current: the pedestal is all that is taken off.
  const levels = looks.frames.map(({ pixelsAdu }) =>
    Float32Array.from(pixelsAdu, (value, i) =>
      value >= topAdu - 1 || unhealthyPx?.[i] === 1 ? Number.NaN : value - pedestalAdu,
    ),
  );
  recycleFrames(
    bench,
    looks.frames.map(({ pixelsAdu }) => pixelsAdu),
  );
  bench.progress({ what: "holding the light against the Sun", done: 0, of: 1 });
  const light = await computeInThread(bench, { signal, pxCount: gain.length }, "measureLight", {
    shape,
    looks: levels,
    flat: { gain, mask },
    expectedShifts: looks.shifts,
    asksClearShare,
    ...given({ disc: looks.disc }),
  });
  if ("notMeasured" in light) bench.note("the light was not measured", { because: light.notMeasured });
  else {
    const { rms, sigma, worst, zMost, seenFraction, hazeGradient, clearShare, ghosts } = light;
    const figures = { rms, sigma, worst, zMost, seenFraction, hazeGradient };
    bench.note("light of the flat", { ...figures, clearShare, sky: ghosts.sky, ghostMoves: ghosts.moves });
  }
  return light;
}
