import { Worker } from "node:worker_threads";
import type { Line } from "./share-pieces.ts";
import type { WorkKind } from "./task-list.ts";

/** A thread of its own. Once it is gone it does nothing more; disposing ends it. */
export interface Thread extends Line {
  readonly worker: Worker;
}

/** What may differ in a test. */
export interface ThreadOptions {
  /** What the threads run. */
  readonly program?: URL;
  /** With fewer values in all, frames times pixels, the work is done before a thread would be of use. */
  readonly valuesLeast?: number;
}

const valuesLeast = { displaced: 15e6, tiles: 30e6, computation: 1e6 } as const;

/**
 * Second threads of a run or a command. Where one can't be had or is lost, the work is done on the main thread, with the
 * same result; that is said once.
 */
export class Threads {
  #isSaid = false;

  constructor(
    private readonly say: (why: string) => void,
    private readonly options: ThreadOptions = {},
  ) {}

  /** A thread that serves pieces. @returns `undefined` where it costs more than it saves, or cannot be had */
  startPieces(kind: "displaced" | "tiles", values: number): Line | undefined {
    if (!this.isWorth(kind, values)) return undefined;
    const thread = this.start(kind);
    thread?.worker.unref();
    return thread;
  }

  isWorth(kind: WorkKind, values: number): boolean {
    return values >= (this.options.valuesLeast ?? valuesLeast[kind]);
  }

  /** @param onGone called when it ends before it is disposed of */
  start(kind: WorkKind, onGone: () => void = () => {}): Thread | undefined {
    let isGone = false;
    const gone = (why: string) => {
      if (isGone) return;
      isGone = true;
      this.lost(why);
      onGone();
    };
    try {
      const program = this.options.program ?? new URL("./worker.ts", import.meta.url);
      const worker = new Worker(program, { workerData: kind });
      worker.once("error", (error) => gone(String(error)));
      worker.once("exit", () => gone("it ended without a word"));
      return {
        worker,
        get isGone() {
          return isGone;
        },
        post: (message) => worker.postMessage(message),
        [Symbol.dispose]() {
          isGone = true;
          void worker.terminate();
        },
      };
    } catch (error) {
      this.lost(String(error));
      return undefined;
    }
  }

  /** Says that the work goes on without a second thread, if this is the first time. */
  lost(why: string): void {
    if (!this.#isSaid) this.say(why);
    this.#isSaid = true;
  }
}
