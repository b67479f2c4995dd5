/**
 * SER: raw video. A header of 178 bytes, the frames without a gap, and in most files a trailer of one time a frame.
 * Numbers are little-endian. Layout from memory, held to files of the INDI library's own stream recorder
 * (test/outside/ser.test.ts); that recorder puts its own name where others put "LUCAM-RECORDER".
 */

/** The bytes are not SER, or none that can be read. */
export class SerError extends Error {
  readonly code = "SER_UNREADABLE";
  override readonly name = "SerError";
}

export interface SerHeader {
  /** Name of the recorder's kind, up to 14 characters. */
  readonly fileId: string;
  readonly colour: SerColour;
  /** Colours of the first two rows, left to right, of a colour filter array whose order is known. */
  readonly filterPattern: string | undefined;
  /** Stored flag: 0 or 1. See `flagMeans` for what it says of the byte order. */
  readonly byteOrderFlag: number;
  readonly widthPx: number;
  readonly heightPx: number;
  /** Bits of a value: 1 to 8 in one byte, 9 to 16 in two. */
  readonly depthBits: number;
  /** As stored; recordings that were broken off may say 0. */
  readonly frameCount: number;
  readonly observer: string;
  readonly instrument: string;
  readonly telescope: string;
  /** Start in local time and in UTC [100 ns since 0001-01-01]; 0 or less: not known. */
  readonly localTicks: bigint;
  readonly utcTicks: bigint;
}

export type SerColour = "mono" | "colour filter array" | "three colours" | "unknown";
export type ByteOrder = "little" | "big";

export const serHeaderBytes = 178;
export const stampBytes = 8;

/** Where each field starts. */
export const serField = {
  fileId: 0,
  luId: 14,
  colour: 18,
  byteOrderFlag: 22,
  width: 26,
  height: 30,
  depth: 34,
  frameCount: 38,
  observer: 42,
  instrument: 82,
  telescope: 122,
  localTicks: 162,
  utcTicks: 170,
} as const;

/** @throws SerError unless these are the first bytes of a SER file */
export function parseSerHeader(bytes: Uint8Array, what: string): SerHeader {
  if (bytes.length < serHeaderBytes) throw new SerError(`${what}: no SER file (shorter than its header)`);
  const view = new DataView(bytes.buffer, bytes.byteOffset, serHeaderBytes);
  const whole = (at: number) => view.getInt32(at, true);
  const [widthPx, heightPx] = [whole(serField.width), whole(serField.height)];
  const depthBits = whole(serField.depth);
  const frameCount = whole(serField.frameCount);
  if (widthPx < 1 || heightPx < 1 || depthBits < 1 || depthBits > 16 || frameCount < 0) {
    throw new SerError(
      `${what}: no SER file (it says ${frameCount} frames of ${widthPx} x ${heightPx} px with ${depthBits} bits)`,
    );
  }
  return {
    fileId: textAt(bytes, serField.fileId, 14),
    colour: colourOf(whole(serField.colour)),
    filterPattern: filterPatterns[whole(serField.colour)],
    byteOrderFlag: whole(serField.byteOrderFlag),
    widthPx,
    heightPx,
    depthBits,
    frameCount,
    observer: textAt(bytes, serField.observer, 40),
    instrument: textAt(bytes, serField.instrument, 40),
    telescope: textAt(bytes, serField.telescope, 40),
    localTicks: view.getBigInt64(serField.localTicks, true),
    utcTicks: view.getBigInt64(serField.utcTicks, true),
  };
}

/** From memory. */
const filterPatterns: Readonly<Record<number, string>> = {
  ...{ 8: "RGGB", 9: "GRBG", 10: "GBRG", 11: "BGGR" },
  ...{ 16: "CYYM", 17: "YCMY", 18: "YMCY", 19: "MYYC" },
};

/** From memory: 0 mono, 8 to 11 and 16 to 19 filter arrays, 100 RGB, 101 BGR. */
function colourOf(id: number): SerColour {
  if (id === 0) return "mono";
  if ((id >= 8 && id <= 11) || (id >= 16 && id <= 19)) return "colour filter array";
  return id === 100 || id === 101 ? "three colours" : "unknown";
}

function textAt(bytes: Uint8Array, start: number, length: number): string {
  const text = String.fromCharCode(...bytes.subarray(start, start + length));
  return text.replace(/\0.*$/s, "").trim();
}

/**
 * What the flag says. The format's paper names it "little endian"; the first programs wrote it the other way
 * round and nearly all followed, the INDI library's recorder too: 0 stands for little-endian.
 */
export function byteOrderOfFlag(byteOrderFlag: number): ByteOrder {
  return byteOrderFlag === 0 ? "little" : "big";
}

const epochTicks = 621_355_968_000_000_000n; // 1970-01-01

/** UTC milliseconds since 1970, or `undefined` where the ticks say nothing. */
export function utcMsOfTicks(ticks: bigint): number | undefined {
  if (ticks <= 0n) return undefined;
  const ms = Number(ticks - epochTicks) / 10_000;
  return Math.abs(ms) <= 8.64e15 ? ms : undefined;
}
