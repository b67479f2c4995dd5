import type { FrameLogs } from "./frame-logs.ts";
import type { SweepKernels } from "./sweep-kernels.ts";
import type { Scale, SharedTools, TaskContext } from "./task-tools.ts";
import { solverTasks, type TaskAbout, type TaskName } from "./tasks.ts";

/** Another thread that takes pieces of the same tasks. Disposing ends it. */
export interface SecondThread extends Disposable {
  /** Hands over what tasks need. */
  equip(tools: SharedTools): void;
  /** Does all pieces of a task, there or `here`. Pauses. */
  share(
    task: { readonly task: TaskName; readonly about: unknown; readonly pieceCount: number },
    here: (piece: number) => Generator<void>,
  ): Generator<void>;
}

/** @param values how many numbers the work is about @returns `undefined` where a thread costs more than it saves, or cannot be had */
export type StartThread = (values: number) => SecondThread | undefined;

/**
 * Does tasks piece by piece, on this thread and on another if there is one. Pieces read what no piece of the same task
 * writes, so it does not matter who does which, or that a piece is begun twice: results are the same to the bit.
 */
export class TaskPool implements Disposable {
  #thread: SecondThread | undefined;

  constructor(
    readonly tools: TaskContext,
    thread?: SecondThread,
  ) {
    this.#thread = thread;
  }

  /** How many pieces are done at once, at best. */
  get threads(): 1 | 2 {
    return this.#thread ? 2 : 1;
  }

  /** Kernels that another thread cannot share leave it nothing to do. */
  useKernels(kernels: SweepKernels): void {
    this.tools.kernels = kernels;
    if (kernels.shared) this.#thread?.equip({ kernels: kernels.shared });
    else this.#endThread();
  }

  /** Frames' arrays must all be there: another thread does not see later ones. */
  useLogs(scale: Scale, logs: FrameLogs): void {
    this.tools.logs[scale] = logs;
    if (logs.shared) this.#thread?.equip({ logs: { [scale]: logs.shared } });
    else this.#endThread();
  }

  /** @param about plain data; arrays that are written to lie in shared memory */
  *run<Name extends TaskName>(task: Name, about: TaskAbout<Name>, pieceCount: number): Generator<void> {
    const here = (piece: number) => solverTasks[task](this.tools, about as never, piece);
    if (this.#thread) yield* this.#thread.share({ task, about, pieceCount }, here);
    else for (let piece = 0; piece < pieceCount; piece++) yield* here(piece);
  }

  #endThread(): void {
    this.#thread?.[Symbol.dispose]();
    this.#thread = undefined;
  }

  [Symbol.dispose](): void {
    this.tools.correlator?.[Symbol.dispose]();
    this.#endThread();
  }
}
