import type { CountTile } from "../../imaging/combining/combine-counts.ts";
import { type StoredStack, TileMaker, tileCountOf } from "../../open-files/stored-stack.ts";
import { letEventsIn } from "../../threads/let-events-in.ts";
import type { Threads } from "../../threads/threads.ts";

/**
 * Combines a stack of counts tile by tile, in any order, with a second thread if that pays.
 * @returns false, before anything is done, where the kernels cannot be built
 * @throws what reading and writing throw; no thread is left over
 */
export async function makeTiles(
  stack: StoredStack,
  writeTile: (startPx: number, tile: CountTile) => void,
  threads: Threads | undefined,
): Promise<boolean> {
  const maker = TileMaker.for(stack);
  if (maker === undefined) return false;
  const left = Array.from({ length: tileCountOf(stack) }, (_, tileIndex) => tileIndex).reverse();
  const write = (tileIndex: number, tile: CountTile) => writeTile(tileIndex * stack.tilePx, tile);
  const thread = threads?.start("tiles", stack.frames.length * stack.pxCount);
  const makeThere = async () => {
    for (let tileIndex = left.pop(); tileIndex !== undefined; tileIndex = left.pop()) {
      const answer = await thread!.ask({ tileIndex });
      if (!answer) return left.push(tileIndex);
      write(tileIndex, answer.result as CountTile);
    }
    return undefined;
  };
  const makeHere = async () => {
    for (;;) {
      await letEventsIn();
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
  return true;
}
