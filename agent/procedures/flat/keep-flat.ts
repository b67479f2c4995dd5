import type { Master } from "../../imaging/combining/finish-master.ts";
import type { Flat } from "../../imaging/combining/normalise-flat.ts";
import { type FramesBought, framesBuy, type StackAsked } from "../../imaging/noise/frames-enough.ts";
import type { FlatWork } from "./flat-work.ts";
import { edgesOfSeries } from "./frame-edge.ts";
import { knownOfFlat } from "./known-of-flat.ts";
import { litFlat } from "./lit-flat.ts";
import { conversionFromSeries } from "./measure-conversion.ts";
import { proveAside } from "./prove-aside.ts";
import { writeAndTell } from "./tell-flat.ts";

/** Makes the flat of its frames, proves it, and writes it. @throws StepError when nothing in the frames is lit */
export async function keepFlat(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench, ask, notes, edges } = work;
  const { findings } = bench;
  bench.progress({ what: "proving the flat", done: 0, of: 1 });
  const series = work.series!.finish();
  const flat = litFlat(series);
  conversionFromSeries(work, series);
  const { leak } = findings;
  const sunAdu = work.sun && sunAboveDark(work, flat);
  const upperEdge = edgesOfSeries(edges);
  const proof = await proveAside(
    bench,
    {
      flat,
      series,
      upperEdge,
      independent: work.proof!.finish(),
      ...(leak
        ? { leak: { fraction: leak.leakFraction, sigmaFraction: leak.detectionLimitFraction / 4 } }
        : {}),
      known: {
        ...knownOfFlat(bench, flat, series.frameCount, notes.facts.first.gain),
        ...(sunAdu ? { sunAdu } : {}),
      },
    },
    signal,
  );
  work.found = writeAndTell({
    bench,
    ask,
    flat,
    proof,
    facts: notes.facts,
    tuned: work.tuned!,
    darkFile: work.dark!.file,
    sampleFrame: work.sampleFrame,
    frameCount: series.frameCount,
    ...(ask.enough ? { bought: boughtBy(series, ask.enough) } : {}),
    refusedFrames: series.refusedFrames,
    rejectedFraction: series.rejectedFraction,
    upperEdge,
  });
}

/** By the noise that the series showed itself. */
function boughtBy(
  { growth, frameCount }: Pick<Master, "growth" | "frameCount">,
  asked: StackAsked,
): FramesBought {
  const last = growth.at(-1);
  const single = last ? last.expected * Math.sqrt(last.frames) : Number.NaN;
  return framesBuy(frameCount, single, asked);
}

/** Too short an exposure for any dark current: the pedestal is all that is taken off. */
function sunAboveDark(work: FlatWork, flat: Flat): Float32Array | undefined {
  const { pixelsAdu } = work.sun!;
  if (pixelsAdu.length !== flat.gain.length) return undefined;
  const { pedestalAdu } = work.tuned!;
  return Float32Array.from(pixelsAdu, (value) => value - pedestalAdu);
}
