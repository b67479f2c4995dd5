import { given } from "../../../../drivers/kit/given.ts";
import { planeAcross } from "../../../imaging/displaced/anchor-plane.ts";
import { proveAndWriteFlat } from "../prove-and-write.ts";
import { findKnownResponse } from "../response/expose-ladder.ts";
import { measureDriftLight } from "./drift-light.ts";
import { solveDrift } from "./drift-solve.ts";
import type { DriftWork } from "./drift-work.ts";

/** Solves the flat from the frames, proves it on frames that it does not know, and writes it. */
export async function saveDriftFlat(work: DriftWork, signal: AbortSignal): Promise<void> {
  const { bench } = work;
  const { solution, frames, independent, clippedFraction, average } = await solveDrift(work, signal);
  bench.progress({ what: "proving the flat", done: 0, of: 1 });
  const { flat, anchor, halves, separation } = solution;
  const droppedLater = solution.frames.filter(({ dropped }) => dropped).length;
  const frameCount = frames.length - droppedLater;
  const plane = anchor && planeAcross(anchor, flat.shape);
  bench.note("flat solved", {
    frames: frameCount,
    droppedLater,
    radiusPx: work.radiusPx,
    ...separation,
    evenOverOdd: halves.evenOdd.measured / halves.evenOdd.expected,
    ...given({
      firstAgainstSecond: halves.firstSecond?.driftRms,
      planeUnsure: plane?.unsure,
      planeDisagreement: plane?.disagreement?.value,
    }),
  });
  const series = {
    frameCount,
    refusedFrames: work.droppedFrames + droppedLater,
    rejectedFraction: 0,
    clippedFraction,
    growth: [halves.evenOdd],
    halves: halves.firstSecond,
    separation,
  };
  const light = await measureDriftLight(work, flat, signal);
  const made = {
    flat,
    series,
    edges: frames.map(({ edgeFraction }) => edgeFraction),
    independent: independent.master,
    // Its light is never still enough for a ladder of exposures.
    ...given({ plane, response: await findKnownResponse(bench, work, signal) }),
    sunAdu: average,
    sampleFrame: frames[0]!.file,
    judged: { light },
  };
  work.result = await proveAndWriteFlat(work, made, signal);
}
