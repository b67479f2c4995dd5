import { workerData } from "node:worker_threads";
import { helperStates, type SharedBuffers, SharedTiles } from "./shared-tiles.ts";
import { type StoredStack, TileMaker } from "./stored-stack.ts";

/** The second thread of `combine`: makes tiles until there are no more. Any trouble is left to the main thread to tell. */
const { stack, buffers } = workerData as { stack: StoredStack; buffers: SharedBuffers };
const tiles = new SharedTiles(buffers);
if (tiles.helperBecomes(helperStates.running, helperStates.notStarted)) {
  try {
    makeTiles();
    tiles.helperBecomes(helperStates.ended, helperStates.running);
  } catch {
    tiles.helperBecomes(helperStates.broken, helperStates.running);
  }
}

function makeTiles(): void {
  const maker = TileMaker.for(stack);
  if (maker === undefined) return;
  for (;;) {
    const slot = tiles.emptySlot();
    const tileIndex = slot === undefined ? undefined : tiles.take();
    if (slot === undefined || tileIndex === undefined) return;
    const tile = maker.make(tileIndex);
    const start = slot * buffers.tilePx;
    buffers.value.set(tile.value, start);
    buffers.sigma.set(tile.sigma, start);
    buffers.mask.set(tile.mask, start);
    buffers.counts.set([tile.rejected, tile.maskedPx], 2 * slot);
    tiles.fill(slot, tileIndex);
  }
}
