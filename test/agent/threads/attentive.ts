import type { PieceMessage } from "../../../agent/threads/share-pieces.ts";
import { type Thread, Threads } from "../../../agent/threads/threads.ts";

/** A program that takes up work and ends without an error. */
export const dyingProgram = new URL("./dying-worker.ts", import.meta.url);

/**
 * On it the main thread goes on with a displaced solution's task only after the other thread has settled its first piece,
 * so that both have a part in it.
 */
export function attentive(thread: Thread, onTask: (task: PieceMessage) => void = () => {}): Thread {
  const pause = new Int32Array(new SharedArrayBuffer(4));
  return {
    get isGone() {
      return thread.isGone;
    },
    ended: thread.ended,
    ask: thread.ask,
    release: thread.release,
    post(message) {
      thread.post(message);
      const task = message as PieceMessage;
      if (task.states === undefined) return;
      onTask(task);
      while (Atomics.load(task.states, task.states.length - 2) !== pieceDone) Atomics.wait(pause, 0, 0, 1);
    },
    [Symbol.dispose]: () => thread[Symbol.dispose](),
  };
}

/** What `Pieces` writes for a piece that is done. */
const pieceDone = 3;

/** For tiles of any number of values. The other thread gets two of them before the main one has made any. */
export class AttentiveThreads extends Threads {
  tilesAsked = 0;

  constructor(say: (why: string) => void, program?: URL) {
    super(say, { valuesLeast: 0, ...(program && { program }) });
  }

  override start(kind: "tiles", values: number): Thread {
    const thread = super.start(kind, values)!;
    return {
      get isGone() {
        return thread.isGone;
      },
      ended: thread.ended,
      post: thread.post,
      release: thread.release,
      ask: (message) => {
        const answer = thread.ask(message);
        if (!("stack" in (message as object))) this.tilesAsked++;
        return "stack" in (message as object) ? Promise.resolve({ result: undefined }) : answer;
      },
      [Symbol.dispose]: () => thread[Symbol.dispose](),
    };
  }
}
