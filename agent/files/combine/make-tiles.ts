import { Worker } from "node:worker_threads";
import type { CountTile } from "../../imaging/combining/combine-counts.ts";
import { helperStates, type SharedBuffers, SharedTiles, sharedBuffers } from "./shared-tiles.ts";
import { type StoredStack, TileMaker, tileCountOf } from "./stored-stack.ts";

/** Below so many values in all a second thread costs more than it saves. */
const valuesForTwo = 30e6;

/**
 * Combines a stack of counts tile by tile, in any order, with a second thread if it is large.
 * @returns false, before anything is done, where the kernels cannot be built
 * @throws what reading throws; no thread is left over
 */
export function makeTiles(
  stack: StoredStack,
  writeTile: (startPx: number, tile: CountTile) => void,
  threads: 1 | 2 = stack.frames.length * stack.pxCount < valuesForTwo ? 1 : 2,
): boolean {
  const maker = TileMaker.for(stack);
  if (maker === undefined) return false;
  const tiles = new SharedTiles(sharedBuffers(stack.tilePx, tileCountOf(stack)));
  const made = new Uint8Array(tileCountOf(stack));
  const write = (tileIndex: number, tile: CountTile) => {
    writeTile(tileIndex * stack.tilePx, tile);
    made[tileIndex] = 1;
  };
  const writeFull = (full: { slot: number; tileIndex: number } | undefined): boolean => {
    if (full === undefined) return false;
    const startPx = full.tileIndex * stack.tilePx;
    write(
      full.tileIndex,
      slotTile(tiles.buffers, full.slot, Math.min(stack.tilePx, stack.pxCount - startPx)),
    );
    tiles.empty(full.slot);
    return true;
  };
  using _ = threads === 2 ? startHelper(stack, tiles) : undefined;
  for (;;) {
    const tileIndex = tiles.take();
    if (tileIndex === undefined) break;
    write(tileIndex, maker.make(tileIndex));
    while (writeFull(tiles.fullSlot()));
  }
  while (writeFull(tiles.lastFullSlots()));
  // What a helper took and could not make: its trouble comes up again here, or has passed.
  for (const [tileIndex, done] of made.entries()) if (done === 0) write(tileIndex, maker.make(tileIndex));
  return true;
}

function slotTile(buffers: SharedBuffers, slot: number, length: number): CountTile {
  const start = slot * buffers.tilePx;
  return {
    value: buffers.value.subarray(start, start + length),
    sigma: buffers.sigma.subarray(start, start + length),
    mask: buffers.mask.subarray(start, start + length),
    rejected: buffers.counts[2 * slot]!,
    maskedPx: buffers.counts[2 * slot + 1]!,
  };
}

/** Disposing returns only when the other thread touches no file any more, for these will be closed. */
function startHelper(stack: StoredStack, tiles: SharedTiles): Disposable {
  const worker = new Worker(new URL("./tile-worker.ts", import.meta.url), {
    workerData: { stack, buffers: tiles.buffers },
  });
  worker.unref();
  worker.on("error", () => {}); // the main thread makes what is missing
  return {
    [Symbol.dispose]() {
      tiles.stop();
      if (!tiles.helperBecomes(helperStates.neverStart, helperStates.notStarted)) tiles.waitForHelper();
      void worker.terminate();
    },
  };
}
