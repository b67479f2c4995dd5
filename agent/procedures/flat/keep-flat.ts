import { given } from "../../../drivers/kit/given.ts";
import type { Master } from "../../imaging/combining/finish-master.ts";
import type { Flat } from "../../imaging/combining/normalise-flat.ts";
import {
  computeNoiseBudget,
  type NoiseBudget,
  type StackRequest,
} from "../../imaging/noise/frames-enough.ts";
import { mapInto } from "../../imaging/numerics/map-into.ts";
import { figuresOf } from "../../masters/master-cards.ts";
import type { FlatWork } from "./flat-work.ts";
import { measureLooks } from "./light/measure-looks.ts";
import { conversionFromSeries } from "./measure-conversion.ts";
import { proveAndWriteFlat, requireLitFlat } from "./prove-and-write.ts";

/** Makes the flat of its frames, proves it, and writes it. @throws StepError when nothing in the frames is lit */
export async function saveFlat(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench, request, edges, sampleFrame } = work;
  bench.progress({ what: "proving the flat", done: 0, of: 1 });
  const series = work.series!.finish();
  const flat = requireLitFlat(series);
  conversionFromSeries(work, series);
  const { leak } = bench.findings;
  const judged =
    work.looks &&
    (await measureLooks(bench, flat, work.looks, { asksClearShare: true, response: work.response }, signal));
  const made = {
    flat,
    series: figuresOf(series),
    edges,
    independent: work.proof!.finish(),
    sunAdu: work.sun && sunAboveDark(work, flat),
    sampleFrame,
    ...given({
      leak: leak && { fraction: leak.leakFraction, sigmaFraction: leak.detectionLimitFraction / 4 },
      bought: request.enough && boughtBy(series, request.enough),
      judged,
      response: work.response,
    }),
  };
  work.result = await proveAndWriteFlat(work, made, signal);
}

/** By the noise that the series showed itself. */
function boughtBy(
  { growth, frameCount }: Pick<Master, "growth" | "frameCount">,
  asked: StackRequest,
): NoiseBudget {
  const last = growth.at(-1);
  const single = last ? last.expected * Math.sqrt(last.frames) : Number.NaN;
  return computeNoiseBudget(frameCount, single, asked);
}

/** Too short an exposure for any dark current: the pedestal is all that is taken off. */
function sunAboveDark(work: FlatWork, flat: Flat): Float32Array | undefined {
  const { pixelsAdu } = work.sun!;
  if (pixelsAdu.length !== flat.gain.length) return undefined;
  const { pedestalAdu } = work.tuned!;
  return mapInto(new Float32Array(pixelsAdu.length), pixelsAdu, (value) => value - pedestalAdu);
}
