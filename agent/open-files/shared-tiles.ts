import type { CountTile } from "../imaging/combining/combine-counts.ts";
import { type StoredStack, TileMaker } from "./stored-stack.ts";

const slotCount = 3;

/**
 * Where another thread's tiles wait until the main thread has written them: memory does not grow with the tiles.
 * `control` counts changes, then holds the tile in each slot, counted from 1; 0 for none.
 */
export interface TileSlots {
  readonly control: Int32Array;
  /** Rejected values and masked pixels of each slot. */
  readonly counts: Float64Array;
  readonly value: Float32Array;
  readonly sigma: Float32Array;
  readonly mask: Uint8Array;
}

export function makeSlots({ tilePx }: StoredStack): TileSlots {
  const shared = (bytes: number) => new SharedArrayBuffer(slotCount * bytes);
  return {
    control: new Int32Array(new SharedArrayBuffer(4 * (1 + slotCount))),
    counts: new Float64Array(shared(16)),
    value: new Float32Array(shared(4 * tilePx)),
    sigma: new Float32Array(shared(4 * tilePx)),
    mask: new Uint8Array(shared(tilePx)),
  };
}

/** For a piece: makes a tile and puts it into a slot, which it waits for. @param tools the thread's own maker, made at first */
export function* makeTile(
  tools: { maker?: TileMaker },
  { stack, slots }: { readonly stack: StoredStack; readonly slots: TileSlots },
  tileIndex: number,
): Generator<void> {
  tools.maker ??= TileMaker.for(stack)!;
  const tile = tools.maker.make(tileIndex);
  const { control } = slots;
  for (;;) {
    const changes = Atomics.load(control, 0);
    const slot = slotWith(slots, 0);
    if (slot !== undefined) {
      const start = slot * stack.tilePx;
      slots.value.set(tile.value, start);
      slots.sigma.set(tile.sigma, start);
      slots.mask.set(tile.mask, start);
      slots.counts.set([tile.rejected, tile.maskedPx], 2 * slot);
      Atomics.store(control, 1 + slot, tileIndex + 1);
      return;
    }
    Atomics.wait(control, 0, changes, 4);
    yield;
  }
}

/** Hands over what waits in the slots, and empties them. */
export function emptySlots(
  slots: TileSlots,
  { tilePx, pxCount }: StoredStack,
  write: (tileIndex: number, tile: CountTile) => void,
): void {
  for (let slot = 0; slot < slotCount; slot++) {
    const tileIndex = Atomics.load(slots.control, 1 + slot) - 1;
    if (tileIndex < 0) continue;
    const start = slot * tilePx;
    const end = start + Math.min(tilePx, pxCount - tileIndex * tilePx);
    write(tileIndex, {
      value: slots.value.subarray(start, end),
      sigma: slots.sigma.subarray(start, end),
      mask: slots.mask.subarray(start, end),
      rejected: slots.counts[2 * slot]!,
      maskedPx: slots.counts[2 * slot + 1]!,
    });
    Atomics.store(slots.control, 1 + slot, 0);
    Atomics.add(slots.control, 0, 1);
    Atomics.notify(slots.control, 0);
  }
}

function slotWith({ control }: TileSlots, held: number): number | undefined {
  for (let slot = 0; slot < slotCount; slot++) if (Atomics.load(control, 1 + slot) === held) return slot;
  return undefined;
}
