import type { Clock } from "../../drivers/kit/clock.ts";
import { type FftLibrary, loadFft } from "../imaging/numerics/fft-library.ts";
import {
  type AnyComputation,
  type ComputationArguments,
  type ComputationName,
  type ComputationResult,
  computations,
} from "./computations.ts";
import type { Threads } from "./threads.ts";

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
  ...about: ComputationArguments<Name>
): Promise<ComputationResult<Name>> {
  signal.throwIfAborted();
  using thread = threads.start("computation", pxCount);
  const answer = thread && (await clock.hold(unlessAborted(thread.ask({ name, about }), signal)));
  if (answer) return answer.result as ComputationResult<Name>;
  const compute = computations[name] as AnyComputation;
  keptFft ??= loadFft();
  return compute(await clock.hold(keptFft), ...about) as ComputationResult<Name>;
}

/**
 * For small frames, on this thread. The runtime collects its whole heap at every few new memories of WebAssembly; for
 * large frames each thread has its own, which goes with it.
 */
let keptFft: Promise<FftLibrary> | undefined;

async function unlessAborted<T>(work: Promise<T>, signal: AbortSignal): Promise<T> {
  const { promise: aborted, reject } = Promise.withResolvers<never>();
  const onAbort = () => reject(signal.reason);
  signal.addEventListener("abort", onAbort, { once: true });
  try {
    return await Promise.race([work, aborted]);
  } finally {
    signal.removeEventListener("abort", onAbort);
  }
}
