import type { SecondThread } from "../imaging/displaced/piece-work.ts";
import type { TaskContext } from "../imaging/displaced/task-tools.ts";
import { type AnyTask, solverTasks, type TaskName } from "../imaging/displaced/tasks.ts";

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
          const held = piece ?? pieces.heldByOther;
          if (piece !== undefined) {
            yield* here(piece);
            pieces.settle(piece, "done");
          } else if (held !== undefined) {
            if (thread.isGone) pieces.settle(held, "free");
            else pieces.waitForOther(held);
            yield;
          }
        }
      } finally {
        pieces.stop();
        for (let waits = 0; waits < waitsMost && !thread.isGone; waits++) {
          const held = pieces.heldByOther;
          if (held === undefined) break;
          pieces.waitForOther(held);
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

const state = { free: 0, ours: 1, theirs: 2, done: 3 } as const;

/**
 * Who does which piece of one task, in memory that two threads share. One thread takes from the front, the other from the
 * back; a piece that the other could not do is free again.
 */
export class Pieces {
  /** @param states of the pieces, and behind them whether the other thread is to stop */
  constructor(readonly states: Int32Array) {}

  static of(count: number): Pieces {
    return new Pieces(new Int32Array(new SharedArrayBuffer(4 * (count + 1))));
  }

  take(): number | undefined {
    return this.#numbers.find((piece) => this.#becomes(piece, "ours"));
  }

  takeAsOther(): number | undefined {
    return this.#numbers.findLast((piece) => !this.isStopped && this.#becomes(piece, "theirs"));
  }

  /** It is done, or free again; whoever waits for it wakes up. */
  settle(piece: number, to: "done" | "free"): void {
    Atomics.store(this.states, piece, state[to]);
    Atomics.notify(this.states, piece);
  }

  get areDone(): boolean {
    return this.#numbers.every((piece) => this.#is(piece, "done"));
  }

  /** A piece that the other thread is at. */
  get heldByOther(): number | undefined {
    return this.#numbers.find((piece) => this.#is(piece, "theirs"));
  }

  /** Until it has settled the piece, but not for long. */
  waitForOther(piece: number): void {
    Atomics.wait(this.states, piece, state.theirs, waitMilliseconds);
  }

  /** The other thread is to take no more, and to give back what it has. */
  stop(): void {
    Atomics.store(this.states, this.states.length - 1, 1);
    // One that has just looked whether it is to stop must find none free.
    while (this.take() !== undefined);
  }

  get isStopped(): boolean {
    return Atomics.load(this.states, this.states.length - 1) === 1;
  }

  get #numbers(): number[] {
    return [...this.states.keys()].slice(0, -1);
  }

  #is(piece: number, wanted: keyof typeof state): boolean {
    return Atomics.load(this.states, piece) === state[wanted];
  }

  #becomes(piece: number, taker: "ours" | "theirs"): boolean {
    return Atomics.compareExchange(this.states, piece, state.free, state[taker]) === state.free;
  }
}
