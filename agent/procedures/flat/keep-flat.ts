import { given } from "../../../drivers/kit/given.ts";
import type { Master } from "../../imaging/combining/finish-master.ts";
import type { Flat } from "../../imaging/combining/normalise-flat.ts";
import { type CountCurve, straightenMaster } from "../../imaging/light/straighten.ts";
import {
  computeNoiseBudget,
  type NoiseBudget,
  type StackRequest,
} from "../../imaging/noise/frames-enough.ts";
import { mapInto } from "../../imaging/numerics/map-into.ts";
import { whyNotCorrect } from "../../imaging/proof/response-figures.ts";
import { figuresOf } from "../../masters/master-cards.ts";
import type { FlatFound } from "./flat-request.ts";
import type { FlatWork } from "./flat-work.ts";
import { seriesEdgeFractions } from "./frame-edge.ts";
import { measureLooks } from "./light/measure-looks.ts";
import { conversionFromSeries } from "./measure-conversion.ts";
import { proveAndWriteFlat, requireLitFlat } from "./prove-and-write.ts";

/** Makes the flat of its frames, proves it, and writes it. @throws StepError when nothing in the frames is lit */
export async function saveFlat(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench, request, edges, sampleFrame } = work;
  bench.progress({ what: "proving the flat", done: 0, of: 1 });
  const taken = work.series!.finish();
  conversionFromSeries(work, taken);
  const { curve, responseCorrection } = curveFor(work, requireLitFlat(taken));
  const straight = <M extends Pick<Master, "meanAdu" | "sigmaAdu">>(master: M) =>
    curve ? straightenMaster(master, curve) : master;
  const series = straight(taken);
  const flat = requireLitFlat(series);
  const { leak } = bench.findings;
  const judged =
    work.looks &&
    (await measureLooks(
      bench,
      flat,
      work.looks,
      { asksClearShare: true, response: work.response, isStraight: curve !== undefined },
      signal,
    ));
  const made = {
    flat,
    series: figuresOf(series),
    edges,
    independent: straight(work.proof!.finish()),
    sunAdu: work.sun && sunAboveDark(work, flat),
    sampleFrame,
    ...given({
      leak: leak && { fraction: leak.leakFraction, sigmaFraction: leak.detectionLimitFraction / 4 },
      bought: request.enough && boughtBy(series, request.enough),
      judged,
      response: work.response,
      responseCorrection,
    }),
  };
  work.result = await proveAndWriteFlat(work, made, signal);
}

/** The curve that the plan wants the counts straightened by, or why they are not. */
function curveFor(
  { request, response, tuned, edges, bench }: FlatWork,
  { gain, mask, shape, levelAdu }: Flat,
): {
  readonly curve?: CountCurve;
  readonly responseCorrection?: NonNullable<FlatFound["responseCorrection"]>;
} {
  if (!request.correctResponse) return {};
  const { topAdu } = tuned!;
  const levels = { edge: seriesEdgeFractions(edges).median, mean: levelAdu / topAdu };
  const because = whyNotCorrect(response, { gain, mask, shape }, levels);
  const responseCorrection = { kept: because === undefined, ...given({ because }) };
  bench.note("correction by the sensor's response", responseCorrection);
  if (because !== undefined || !response || "notMeasured" in response) return { responseCorrection };
  return { curve: { coefficients: response.coefficients, topAdu }, responseCorrection };
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
