import type { Clock } from "../../drivers/kit/clock.ts";
import { loadFft } from "../imaging/numerics/fft-library.ts";
import {
  type AnyComputation,
  type ComputationArguments,
  type ComputationName,
  type ComputationResult,
  computations,
} from "./computations.ts";
import type { ComputationMessage } from "./serve-computation.ts";
import type { Threads } from "./threads.ts";

export interface ComputingBench {
  readonly threads: Threads;
  readonly clock: Clock;
}

/**
 * Computes what takes seconds on a large frame on another thread, so that this one goes on watching sky and rig and hears
 * a stop. Where no thread can be had it is computed here.
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
  if (threads.isWorth("computation", pxCount)) {
    const done = await clock.hold(askThread(threads, { name, about }, signal));
    if (done) return done.result as ComputationResult<Name>;
  }
  const compute = computations[name] as AnyComputation;
  return compute(await clock.hold(loadFft()), ...about) as ComputationResult<Name>;
}

/** @returns `undefined` when there is no thread or it broke: whatever its trouble, it comes up again here, or has passed */
async function askThread(
  threads: Threads,
  message: ComputationMessage,
  signal: AbortSignal,
): Promise<{ readonly result: unknown } | undefined> {
  const { promise, resolve, reject } = Promise.withResolvers<{ readonly result: unknown } | undefined>();
  using thread = threads.start("computation", () => resolve(undefined));
  if (!thread) return undefined;
  const onAbort = () => reject(signal.reason);
  signal.addEventListener("abort", onAbort, { once: true });
  thread.worker.once("message", resolve);
  try {
    thread.post(message);
    return await promise;
  } catch (error) {
    signal.throwIfAborted();
    threads.lost(String(error)); // no memory for the copies, say
    return undefined;
  } finally {
    signal.removeEventListener("abort", onAbort);
  }
}
