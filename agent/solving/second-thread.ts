import { Worker } from "node:worker_threads";
import type { Helper, StartHelper } from "../imaging/displaced/piece-work.ts";

/** Of fewer values in all, frames times pixels, the work is done before a thread would be of use. */
const valuesForTwo = 15e6;

/** The solver's helper on a thread of its own. */
export const startSecondThread: StartHelper = (values) =>
  values < valuesForTwo ? undefined : helperOn(new URL("./piece-worker.ts", import.meta.url));

/** @param program what the thread runs @returns `undefined` where no thread can be had */
export function helperOn(program: URL): (Helper & { readonly worker: Worker }) | undefined {
  let isGone = false;
  const gone = () => {
    isGone = true;
  };
  try {
    const worker = new Worker(program);
    worker.unref();
    worker.on("error", gone);
    worker.on("exit", gone);
    return {
      worker,
      get isGone() {
        return isGone;
      },
      tell: (message) => worker.postMessage(message),
      [Symbol.dispose]() {
        void worker.terminate();
      },
    };
  } catch {
    return undefined;
  }
}
