export interface TransferableCopy<Message> {
  readonly message: Message;
  /** What moves to the other thread with it. */
  readonly buffers: ArrayBuffer[];
}

/**
 * A message whose typed arrays are copies that can be moved to another thread. The runtime's own copying of posted arrays
 * goes byte by byte, and holds up the thread that posts for a second with 40 MB.
 * Memory that is shared stays so; what is neither plain object, array nor typed array is left to the runtime.
 */
export function makeTransferableCopy<Message>(message: Message): TransferableCopy<Message> {
  const buffers: ArrayBuffer[] = [];
  const copies = new Map<object, unknown>();
  const copyOf = (value: unknown): unknown => {
    if (typeof value !== "object" || value === null) return value;
    const known = copies.get(value);
    if (known !== undefined) return known;
    if (isOwnTypedArray(value)) {
      const copy = value.slice();
      buffers.push(copy.buffer);
      copies.set(value, copy);
      return copy;
    }
    if (Array.isArray(value)) {
      const copy: unknown[] = [];
      copies.set(value, copy);
      for (const element of value) copy.push(copyOf(element));
      return copy;
    }
    if (Object.getPrototypeOf(value) !== Object.prototype) return value;
    const copy: Record<string, unknown> = {};
    copies.set(value, copy);
    for (const [key, element] of Object.entries(value)) copy[key] = copyOf(element);
    return copy;
  };
  return { message: copyOf(message) as Message, buffers };
}

function isOwnTypedArray(value: object): value is Float64Array<ArrayBuffer> {
  // A Buffer's slice is no copy.
  if (!ArrayBuffer.isView(value) || value instanceof DataView || Buffer.isBuffer(value)) return false;
  return value.buffer instanceof ArrayBuffer;
}
