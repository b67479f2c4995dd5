import type { SecondThread } from "../imaging/displaced/piece-work.ts";
import type { TaskContext } from "../imaging/displaced/task-tools.ts";
import { type AnyTask, solverTasks, type TaskName } from "../imaging/displaced/tasks.ts";
import { Pieces } from "./pieces.ts";

/** To another thread. */
export interface Line extends Disposable {
  /** It touches nothing any more. */
  readonly isGone: boolean;
  post(message: unknown): void;
}

export interface PieceMessage {
  readonly task: TaskName;
  readonly about: unknown;
  readonly states: Int32Array;
}

const waitMilliseconds = 4;
/** The other thread looks at every pause whether it is to stop: some ten milliseconds. */
const waitsMost = 250;

/** Shares the pieces of a displaced solution's tasks with another thread. */
export function sharingWith(thread: Line): SecondThread {
  return {
    equip: (tools) => thread.post({ tools }),
    *share({ task, about, pieceCount }, here) {
      const pieces = Pieces.of(pieceCount);
      thread.post({ task, about, states: pieces.states } satisfies PieceMessage);
      try {
        while (!pieces.areDone) {
          const piece = pieces.take();
          if (piece !== undefined) {
            yield* here(piece);
            pieces.settle(piece, "done");
            continue;
          }
          const held = pieces.heldByOther;
          if (held === undefined) continue; // it was settled just now
          if (thread.isGone) pieces.settle(held, "free");
          else pieces.waitFor(held, waitMilliseconds);
          yield;
        }
      } finally {
        pieces.stop();
        for (let wait = 0; wait < waitsMost && !thread.isGone; wait++) {
          const held = pieces.heldByOther;
          if (held === undefined) break;
          pieces.waitFor(held, waitMilliseconds);
        }
      }
    },
    [Symbol.dispose]: () => thread[Symbol.dispose](),
  };
}

/** The other thread's part of a task. @throws what a piece throws, given back before: the first thread does it all then */
export function takePieces(tools: TaskContext, { task, about, states }: PieceMessage): void {
  const pieces = new Pieces(states);
  for (let piece = pieces.takeAsOther(); piece !== undefined; piece = pieces.takeAsOther()) {
    let isDone = false;
    try {
      isDone = isFinished((solverTasks[task] as AnyTask)(tools, about, piece), pieces);
    } finally {
      pieces.settle(piece, isDone ? "done" : "free");
    }
  }
}

/** @returns false if told to stop before its end */
function isFinished(work: Generator<void>, pieces: Pieces): boolean {
  for (const _ of work) if (pieces.isStopped) return false;
  return true;
}
