/**
 * The bytes of an array, where they are. Copying pieces with `Buffer.copy` makes no array for each piece, as `set` and
 * `subarray` do, and is faster: a third of the time in pieces of a thousand pixels.
 */
export function bytesOf({ buffer, byteOffset, byteLength }: ArrayBufferView): Buffer {
  return Buffer.from(buffer as ArrayBuffer, byteOffset, byteLength);
}
