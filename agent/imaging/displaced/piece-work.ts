import type { FrameLogs } from "./frame-logs.ts";
import { Pieces } from "./pieces.ts";
import type { SweepKernels } from "./sweep-kernels.ts";
import type { Scale, SharedTools, TaskTools } from "./task-tools.ts";
import { type TaskAbout, type TaskName, tasks } from "./tasks.ts";

/** What a helper is told, in this order. */
export type HelperMessage =
  | { readonly tools: SharedTools }
  | { readonly task: TaskName; readonly about: unknown; readonly states: Int32Array };

/** Another thread that takes pieces of the same tasks. Disposing ends it. */
export interface Helper extends Disposable {
  /** It takes and holds no piece any more. */
  readonly isGone: boolean;
  tell(message: HelperMessage): void;
}

/** @param values how many numbers the work is about @returns `undefined` where a helper costs more than it saves, or cannot be had */
export type StartHelper = (values: number) => Helper | undefined;

const waitMilliseconds = 4;
/** The helper looks after every band whether it is to stop: some ten milliseconds. */
const waitsMost = 250;

/**
 * Does tasks piece by piece, on this thread and on a helper if there is one. Pieces read what no piece of the same task
 * writes, so it does not matter who does which, or that a piece is begun twice: results are the same to the bit.
 */
export class PieceWork implements Disposable {
  constructor(
    readonly tools: TaskTools,
    readonly helper?: Helper,
  ) {}

  /** How many pieces are done at once, at best. */
  get threads(): 1 | 2 {
    return this.helper ? 2 : 1;
  }

  useKernels(kernels: SweepKernels): void {
    this.tools.kernels = kernels;
    if (kernels.shared) this.helper?.tell({ tools: { kernels: kernels.shared } });
  }

  /** Frames' arrays must all be there: another thread does not see later ones. */
  useLogs(scale: Scale, logs: FrameLogs): void {
    this.tools.logs[scale] = logs;
    if (logs.shared) this.helper?.tell({ tools: { logs: { [scale]: logs.shared } } });
  }

  /** @param about plain data; arrays that are written to lie in shared memory */
  *run<Name extends TaskName>(task: Name, about: TaskAbout<Name>, pieceCount: number): Generator<void> {
    const pieces = Pieces.of(pieceCount);
    this.helper?.tell({ task, about, states: pieces.states });
    try {
      while (!pieces.areDone) {
        const piece = pieces.take();
        if (piece !== undefined) {
          yield* tasks[task](this.tools, about as never, piece);
          pieces.done(piece);
        } else {
          if (this.helper?.isGone) pieces.giveBackHelpers();
          pieces.waitForHelper(waitMilliseconds);
          yield;
        }
      }
    } finally {
      pieces.stop();
      for (let wait = 0; pieces.helperHasOne && !this.helper?.isGone && wait < waitsMost; wait++)
        pieces.waitForHelper(waitMilliseconds);
    }
  }

  [Symbol.dispose](): void {
    this.tools.correlator?.[Symbol.dispose]();
    this.helper?.[Symbol.dispose]();
  }
}
