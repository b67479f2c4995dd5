import type { Clock } from "../../drivers/kit/clock.ts";
import { unlessAborted } from "../../drivers/kit/unless-aborted.ts";
import { findDust } from "../imaging/dust/dust.ts";
import { judgeSheet } from "../imaging/light/clear-sheet.ts";
import { correctLight } from "../imaging/light/correct-light.ts";
import { measureLight } from "../imaging/light/measure-light.ts";
import { matchPair } from "../imaging/match/match-since.ts";
import { matchTrain } from "../imaging/match/match-train.ts";
import { smallStructure } from "../imaging/match/small-structure.ts";
import { type FftLibrary, loadFft } from "../imaging/numerics/fft-library.ts";
import { type ProofInput, proveFlat } from "../imaging/proof/proof.ts";
import type { Threads } from "./threads.ts";

/** The arguments of a numeric function without the library, which every thread loads for itself. */
type Rest<F> = F extends (fft: FftLibrary, ...rest: infer R) => unknown ? R : never;

/** What takes seconds on a large frame. Arguments and results go from thread to thread as copies. */
export const computations = {
  proveFlat: (fft: FftLibrary, input: ProofInput) => proveFlat({ ...input, known: { ...input.known, fft } }),
  findDust: (_: FftLibrary, ...about: Parameters<typeof findDust>) => findDust(...about),
  smallStructure: (_: FftLibrary, ...about: Parameters<typeof smallStructure>) => smallStructure(...about),
  matchTrain,
  measureLight,
  correctLight,
  judgeSheet: (_: FftLibrary, ...about: Parameters<typeof judgeSheet>) => judgeSheet(...about),
  matchSince: matchPair,
} as const;

export type ComputationName = keyof typeof computations;

/** Every computation fits this when its name and its arguments do. */
export type AnyComputation = (fft: FftLibrary, ...about: readonly unknown[]) => unknown;

export interface ComputingBench {
  readonly threads: Threads;
  readonly clock: Clock;
}

/**
 * Computes what takes seconds on a large frame on another thread, so that this one goes on watching sky and rig and hears
 * a stop. Where no thread can be had, or it breaks, it is computed here: whatever the trouble was, it comes up again, or has
 * passed.
 * @param at.pxCount pixels of the frame that it is about
 * @throws what the computation throws, or the signal's reason; the thread is ended then
 */
export async function computeInThread<Name extends ComputationName>(
  { threads, clock }: ComputingBench,
  { signal, pxCount }: { readonly signal: AbortSignal; readonly pxCount: number },
  name: Name,
  ...about: Rest<(typeof computations)[Name]>
): Promise<ReturnType<(typeof computations)[Name]>> {
  signal.throwIfAborted();
  using thread = threads.start("computation", pxCount);
  const answer = thread && (await clock.hold(unlessAborted(thread.ask({ name, about }), signal)));
  if (answer) return answer.result as ReturnType<(typeof computations)[Name]>;
  const compute = computations[name] as AnyComputation;
  keptFft ??= loadFft();
  return compute(await clock.hold(keptFft), ...about) as ReturnType<(typeof computations)[Name]>;
}

/**
 * For small frames, on this thread. The runtime collects its whole heap at every few new memories of WebAssembly; for
 * large frames each thread has its own, which goes with it.
 */
let keptFft: Promise<FftLibrary> | undefined;
