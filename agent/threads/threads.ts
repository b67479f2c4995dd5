import { Worker } from "node:worker_threads";
import { findOwnFile } from "../../drivers/kit/place.ts";
import type { StartThread } from "../imaging/displaced/piece-work.ts";
import { type Line, sharingWith } from "./share-pieces.ts";
import { makeTransferableCopy } from "./transferable-copy.ts";

/** A second thread, for as long as it is not disposed of. */
export interface Thread extends Line {
  readonly ended: Promise<void>;
  /** @returns the answer in order of asking, or `undefined` when the thread is gone or can't be told that */
  ask(message: unknown): Promise<{ readonly result: unknown } | undefined>;
  /** The process may end while it works; one that hangs in a system call could not even be ended. */
  release(): void;
}

/** With fewer values in all, frames times pixels, the work is done before a thread would be of use. */
const valuesLeast = { displaced: 15e6, tiles: 30e6, computation: 1e6, words: 0 } as const;

export type WorkKind = keyof typeof valuesLeast;

/**
 * Second threads of a run or a command. Where one can't be had or is lost, the work is done on the main thread, with the
 * same result; that is said once.
 */
export class Threads {
  #isSaid = false;

  /** @param changes for tests: another program, another bound */
  constructor(
    private readonly say: (why: string) => void,
    private readonly changes: { readonly program?: URL; readonly valuesLeast?: number } = {},
  ) {}

  /** @returns `undefined` where a thread costs more than it saves, or cannot be had */
  start(kind: WorkKind, values: number): Thread | undefined {
    if (values < (this.changes.valuesLeast ?? valuesLeast[kind])) return undefined;
    try {
      return this.#start(kind);
    } catch (error) {
      this.#lost(String(error));
      return undefined;
    }
  }

  readonly startDisplaced: StartThread = (values) => {
    const thread = this.start("displaced", values);
    return thread && sharingWith(thread);
  };

  #start(kind: WorkKind): Thread {
    const program = this.changes.program ?? findOwnFile("agent/threads/worker.ts");
    const worker = new Worker(program, { workerData: kind });
    const { promise: ended, resolve: end } = Promise.withResolvers<void>();
    const asked: ((answer: { readonly result: unknown } | undefined) => void)[] = [];
    let isGone = false;
    const gone = (why?: string) => {
      if (!isGone && why !== undefined) this.#lost(why);
      isGone = true;
      for (const answer of asked.splice(0)) answer(undefined);
    };
    worker.on("message", (answer) => asked.shift()?.(answer));
    worker.once("error", (error) => gone(String(error)));
    worker.once("exit", () => {
      gone("it ended without a word");
      end();
    });
    return {
      ended,
      get isGone() {
        return isGone;
      },
      post: (message) => worker.postMessage(message),
      ask: (message) =>
        new Promise((resolve) => {
          if (isGone) return resolve(undefined);
          try {
            const copy = makeTransferableCopy(message);
            worker.postMessage(copy.message, copy.buffers);
            asked.push(resolve);
          } catch (error) {
            this.#lost(String(error)); // no memory for the copies, say
            resolve(undefined);
          }
        }),
      release: () => worker.unref(),
      [Symbol.dispose]() {
        gone();
        void worker.terminate();
      },
    };
  }

  #lost(why: string): void {
    if (!this.#isSaid) this.say(why);
    this.#isSaid = true;
  }
}
