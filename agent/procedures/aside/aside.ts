import { Worker } from "node:worker_threads";
import { type FftLibrary, loadFft } from "../../imaging/numerics/fft-library.ts";
import type { Workbench } from "../step.ts";
import { type AnyTask, type AsideArguments, type AsideName, type AsideResult, asideTasks } from "./tasks.ts";

/** Of fewer pixels a task is done sooner than a thread is started. */
const pxForThread = 1_000_000;

export interface AsideAsk {
  readonly clock: Workbench["clock"];
  readonly signal: AbortSignal;
  /** Pixels of the frame that it is about. */
  readonly pxCount: number;
}

/**
 * Computes what takes seconds on a large frame on another thread, so that this one goes on watching sky and rig and hears
 * a stop. Where no thread can be had it is computed here.
 * @throws what the task throws, or the signal's reason; the thread is ended then
 */
export async function aside<Name extends AsideName>(
  { clock, signal, pxCount }: AsideAsk,
  name: Name,
  ...about: AsideArguments<Name>
): Promise<AsideResult<Name>> {
  signal.throwIfAborted();
  if (pxCount >= pxForThread) {
    const done = await clock.hold(onThread(name, about, signal));
    if (done) return done.result as AsideResult<Name>;
  }
  const task = asideTasks[name] as AnyTask;
  kept ??= loadFft();
  return task(await clock.hold(kept), ...about) as AsideResult<Name>;
}

/**
 * For small frames, on this thread. The runtime collects its whole heap, some 50 ms, at every few new memories of
 * WebAssembly; for large frames each thread has its own, which goes with it.
 */
let kept: Promise<FftLibrary> | undefined;

/** @returns `undefined` when there is no thread or it broke: whatever its trouble, it comes up again here, or has passed */
async function onThread(
  name: AsideName,
  about: readonly unknown[],
  signal: AbortSignal,
): Promise<{ readonly result: unknown } | undefined> {
  const { promise, resolve, reject } = Promise.withResolvers<{ readonly result: unknown } | undefined>();
  const worker = newWorker(name, about);
  if (!worker) return undefined;
  const onAbort = () => reject(signal.reason);
  signal.addEventListener("abort", onAbort, { once: true });
  worker.once("message", (result) => resolve({ result }));
  worker.once("error", () => resolve(undefined));
  worker.once("exit", () => resolve(undefined));
  try {
    return await promise;
  } finally {
    signal.removeEventListener("abort", onAbort);
    void worker.terminate();
  }
}

function newWorker(name: AsideName, about: readonly unknown[]): Worker | undefined {
  try {
    return new Worker(new URL("./aside-worker.ts", import.meta.url), { workerData: { name, about } });
  } catch {
    return undefined; // no memory for the copies, say
  }
}
