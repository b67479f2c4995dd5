import type { CountTile } from "../../imaging/combining/combine-counts.ts";
import { emptySlots, makeSlots } from "../../open-files/shared-tiles.ts";
import { type StoredStack, TileMaker, tileCountOf } from "../../open-files/stored-stack.ts";
import { runPausing } from "../../threads/run-pausing.ts";
import { sharePieces } from "../../threads/share-pieces.ts";
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
  const pieceCount = tileCountOf(stack);
  const slots = makeSlots(stack);
  const made = new Uint8Array(pieceCount);
  // A thread that is lost may have handed over the tile that it is lost with.
  const write = (tileIndex: number, tile: CountTile) => {
    if (made[tileIndex] === 0) writeTile(tileIndex * stack.tilePx, tile);
    made[tileIndex] = 1;
  };
  const here = function* (tileIndex: number) {
    write(tileIndex, maker.make(tileIndex));
    yield;
  };
  const collect = () => emptySlots(slots, stack, write);
  using thread = threads?.startPieces("tiles", stack.frames.length * stack.pxCount);
  await runPausing(
    sharePieces(thread, { task: "makeTile", about: { stack, slots }, pieceCount }, here),
    collect,
  );
  collect();
  return true;
}
