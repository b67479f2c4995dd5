import type { CountTile } from "../../imaging/combining/combine-counts.ts";
import { newSharedTile, type StoredStack, TileMaker, tileCountOf } from "../../open-files/stored-stack.ts";
import type { Threads } from "../../threads/threads.ts";
import { hearStop } from "../hear-stop.ts";

/**
 * Combines a stack of counts tile by tile, in any order, with a second thread if that pays.
 * @throws what reading and writing throw, and the signal's reason; no thread is left over
 */
export async function makeTiles(
  stack: StoredStack,
  writeTile: (startPx: number, tile: CountTile) => void,
  threads: Threads | undefined,
  signal?: AbortSignal,
): Promise<void> {
  const maker = new TileMaker(stack);
  const left = Array.from({ length: tileCountOf(stack) }, (_, tileIndex) => tileIndex).reverse();
  const write = (tileIndex: number, tile: CountTile) => writeTile(tileIndex * stack.tilePx, tile);
  const thread = threads?.start("tiles", stack.frames.length * stack.pxCount);
  const makeThere = async () => {
    const into = newSharedTile(stack.tilePx);
    for (let tileIndex = left.pop(); tileIndex !== undefined; tileIndex = left.pop()) {
      const answer = await thread!.ask({ tileIndex, into });
      if (!answer) return left.push(tileIndex);
      write(tileIndex, answer.result as CountTile);
    }
    return undefined;
  };
  const makeHere = async () => {
    for (;;) {
      await hearStop(signal);
      const tileIndex = left.pop();
      if (tileIndex === undefined) return;
      write(tileIndex, maker.make(tileIndex));
    }
  };
  let there: Promise<unknown> | undefined;
  void thread?.ask({ stack }).then((isUp) => {
    if (!isUp) return;
    // Two at once: it goes on with one while this thread has not yet looked at the other.
    there = Promise.all([makeThere(), makeThere()]);
    there.catch(() => {}); // awaited below
  });
  try {
    await makeHere();
    await there;
    await makeHere(); // what the thread was lost with
  } finally {
    thread?.[Symbol.dispose]();
    await thread?.ended; // it reads from files that will be closed
  }
}
