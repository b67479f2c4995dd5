import { serField, serHeaderBytes } from "../../../drivers/formats/ser.ts";

export interface SerToWrite {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly depthBits: number;
  /** Counts, row-major. */
  readonly frames: readonly ArrayLike<number>[];
  readonly pixels?: "little" | "big";
  /** Default: what recorders write for that order, 0 for little-endian. */
  readonly flag?: number;
  readonly colourId?: number;
  /** What the header says; default: how many there are. */
  readonly frameCount?: number;
  readonly stampsTicks?: readonly bigint[];
  readonly observer?: string;
}

/** A SER file, written field by field through a DataView: nothing of the reader's own but where the fields are. */
export function serBytes(ser: SerToWrite): Uint8Array {
  const bytesPerPixel = ser.depthBits > 8 ? 2 : 1;
  const frameBytes = ser.widthPx * ser.heightPx * bytesPerPixel;
  const stamps = ser.stampsTicks ?? [];
  const bytes = new Uint8Array(serHeaderBytes + ser.frames.length * frameBytes + 8 * stamps.length);
  const view = new DataView(bytes.buffer);
  const little = (ser.pixels ?? "little") === "little";
  new TextEncoder().encodeInto("LUCAM-RECORDER", bytes);
  view.setInt32(serField.colour, ser.colourId ?? 0, true);
  view.setInt32(serField.byteOrderFlag, ser.flag ?? (little ? 0 : 1), true);
  view.setInt32(serField.width, ser.widthPx, true);
  view.setInt32(serField.height, ser.heightPx, true);
  view.setInt32(serField.depth, ser.depthBits, true);
  view.setInt32(serField.frameCount, ser.frameCount ?? ser.frames.length, true);
  new TextEncoder().encodeInto(ser.observer ?? "", bytes.subarray(serField.observer));
  view.setBigInt64(serField.utcTicks, stamps[0] ?? 0n, true);
  let at: number = serHeaderBytes;
  for (const frame of ser.frames) {
    for (let px = 0; px < ser.widthPx * ser.heightPx; px++, at += bytesPerPixel) {
      if (bytesPerPixel === 1) view.setUint8(at, frame[px]!);
      else view.setUint16(at, frame[px]!, little);
    }
  }
  for (const [index, ticks] of stamps.entries()) view.setBigInt64(at + 8 * index, ticks, true);
  return bytes;
}

/** Ticks of a UTC time, worked out from the calendar: 719162 days lie between 0001-01-01 and 1970-01-01. */
export function ticksOf(utcMs: number): bigint {
  return BigInt(719_162 * 86_400) * 10_000_000n + BigInt(Math.round(utcMs * 10_000));
}
