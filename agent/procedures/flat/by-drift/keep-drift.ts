import { planeAcross } from "../../../imaging/displaced/anchor-plane.ts";
import { edgesOfSeries } from "../frame-edge.ts";
import { knownOfFlat } from "../known-of-flat.ts";
import { proveInThread } from "../prove-in-thread.ts";
import { writeAndTell } from "../tell-flat.ts";
import { solveDrift } from "./drift-solve.ts";
import type { DriftWork } from "./drift-work.ts";

/** Solves the flat from the frames, proves it on frames that it does not know, and writes it. */
export async function keepDrift(work: DriftWork, signal: AbortSignal): Promise<void> {
  const { bench, ask } = work;
  const { solution, frames, independent, clippedFraction, average } = await solveDrift(work, signal);
  bench.progress({ what: "proving the flat", done: 0, of: 1 });
  const { flat, anchor, halves } = solution;
  const edges = frames.map(({ edgeFraction }) => edgeFraction);
  const upperEdge = edgesOfSeries(edges);
  const droppedLater = solution.frames.filter(({ dropped }) => dropped).length;
  const frameCount = frames.length - droppedLater;
  const plane = anchor && planeAcross(anchor, flat.shape);
  const proof = await proveInThread(
    bench,
    {
      flat,
      series: { frameCount, clippedFraction, growth: [halves.evenOdd], halves: halves.firstSecond },
      upperEdge,
      independent: independent.master,
      ...(plane ? { plane } : {}),
      known: { ...knownOfFlat(bench, flat, frameCount, work.notes.facts.first.gain), sunAdu: average },
    },
    signal,
  );
  bench.note("flat solved", {
    frames: frameCount,
    droppedLater,
    radiusPx: work.radiusPx,
    evenOverOdd: halves.evenOdd.measured / halves.evenOdd.expected,
    ...(halves.firstSecond ? { firstAgainstSecond: halves.firstSecond.driftRms } : {}),
    ...(plane ? { planeUnsure: plane.unsure, planeDisagreement: plane.disagreement?.value } : {}),
  });
  work.found = writeAndTell({
    bench,
    ask,
    flat,
    proof,
    facts: work.notes.facts,
    tuned: work.tuned!,
    darkFile: work.dark!.file,
    sampleFrame: frames[0]!.file,
    frameCount,
    refusedFrames: work.droppedFrames + droppedLater,
    rejectedFraction: 0,
    upperEdge,
  });
}
