import type { Line } from "../../../agent/threads/share-pieces.ts";
import { Threads } from "../../../agent/threads/threads.ts";

/** Where `Pieces` counts how many were taken. */
const nextAt = 2;
/** Where it counts what was done or given back by the second thread, before the main one begins. */
export const changeAt = 1;

export interface TaskMessage {
  readonly task: string;
  readonly about: unknown;
  readonly states: Int32Array;
}

/**
 * A line on which the main thread goes on with a task only after the second thread has had its first piece, so that both
 * have a part in it.
 * @param until the piece is taken, or done
 */
export function attentive(
  line: Line,
  until: "taken" | "done",
  onTask: (task: TaskMessage) => void = () => {},
): Line {
  const pause = new Int32Array(new SharedArrayBuffer(4));
  return {
    get isGone() {
      return line.isGone;
    },
    post(message) {
      line.post(message);
      const task = message as TaskMessage;
      if (task.states === undefined) return;
      onTask(task);
      const at = until === "taken" ? nextAt : changeAt;
      while (Atomics.load(task.states, at) === 0) Atomics.wait(pause, 0, 0, 1);
    },
    [Symbol.dispose]: () => line[Symbol.dispose](),
  };
}

export const dyingProgram = new URL("./dying-worker.ts", import.meta.url);

/** Threads for tiles of any number of values, attentive. */
export class AttentiveThreads extends Threads {
  readonly told: TaskMessage[] = [];

  constructor(
    say: (why: string) => void,
    readonly until: "taken" | "done",
    program?: URL,
  ) {
    super(say, { valuesLeast: 0, ...(program && { program }) });
  }

  override startPieces(kind: "displaced" | "tiles", values: number): Line {
    return attentive(super.startPieces(kind, values)!, this.until, (task) => this.told.push(task));
  }
}
