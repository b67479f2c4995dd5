import { Pieces } from "./pieces.ts";

/** To another thread. */
export interface Line extends Disposable {
  /** It takes and holds no piece any more. */
  readonly isGone: boolean;
  post(message: unknown): void;
}

const waitMilliseconds = 4;
/** The other thread looks at every pause whether it is to stop: some ten milliseconds. */
const waitsMost = 250;

/**
 * Does all pieces of a task, on this thread and on another if there is one. It does not matter who does which, or that a
 * piece is begun twice: results are the same to the bit. Pauses; whoever goes on must let events come in now and then, for
 * only so it is heard that the other thread is gone.
 * @param about plain data; arrays that are written to lie in shared memory
 * @param here does a piece on this thread
 */
export function* sharePieces(
  line: Line | undefined,
  {
    task,
    about,
    pieceCount,
  }: { readonly task: string; readonly about: unknown; readonly pieceCount: number },
  here: (piece: number) => Generator<void>,
): Generator<void> {
  const pieces = Pieces.of(pieceCount);
  line?.post({ task, about, states: pieces.states });
  try {
    while (!pieces.areDone) {
      const piece = pieces.take();
      if (piece !== undefined) {
        yield* here(piece);
        pieces.done(piece);
      } else {
        if (line?.isGone) pieces.giveBackHelpers();
        pieces.waitForHelper(waitMilliseconds);
        yield;
      }
    }
  } finally {
    pieces.stop();
    for (let wait = 0; pieces.helperHasOne && !line?.isGone && wait < waitsMost; wait++)
      pieces.waitForHelper(waitMilliseconds);
  }
}
