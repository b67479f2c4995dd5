export const pageBytes = 65_536;
/** Larger ones go: what is done in them takes longer than a collection, and they are missed elsewhere. */
const keptPagesMost = 256;
const keptMost = 4;

/**
 * Memories that nobody works in, the smallest first; each thread keeps its own. The engine has places for a few: for one
 * more it first collects its whole heap, and does so again for each that follows.
 */
const kept: WebAssembly.Memory[] = [];

/** @returns one that was given back, with zeros where it will be used, or a new one */
export function takeMemory(bytes: number): WebAssembly.Memory {
  const place = kept.findIndex(({ buffer }) => buffer.byteLength >= bytes);
  if (place < 0) return new WebAssembly.Memory({ initial: roundUp(Math.ceil(bytes / pageBytes)) });
  const [memory] = kept.splice(place, 1);
  new Uint8Array(memory!.buffer, 0, bytes).fill(0);
  return memory!;
}

/** To a power of two, so that one fits the next who asks for about as much. Pages that are not touched cost nothing. */
function roundUp(pages: number): number {
  return pages > keptPagesMost ? pages : 2 ** Math.ceil(Math.log2(pages));
}

/** Takes a memory back, once for each time it was taken: arrays that still lie in it are empty from now on. */
export function giveBackMemory(memory: WebAssembly.Memory): void {
  memory.grow(0); // takes the arrays away
  if (memory.buffer.byteLength > keptPagesMost * pageBytes) return;
  kept.push(memory);
  kept.sort((a, b) => a.buffer.byteLength - b.buffer.byteLength);
  if (kept.length > keptMost) kept.shift();
}
