import {
  codeSection,
  get,
  i32,
  name,
  section,
  set,
  tee,
  unsigned,
  v128,
  vector,
  wasmHead,
} from "../formats/wasm-code.ts";

interface Base64Module {
  /** Text and, in its place, what it becomes. */
  readonly memory: Uint8Array;
  /**
   * Decodes whole turns of 64 characters of text from `at`, a multiple of 64, on; bytes go to three quarters of where
   * their text was. Stops before a turn with anything but the 64 characters of base64.
   * @returns where the text begins that is not decoded
   */
  readonly decode: (at: number, end: number) => number;
  /**
   * Copies the text that begins the memory to `to`, beyond it, without its blanks; a blank must stand at `end`.
   * @returns where the copy ends
   */
  readonly squeeze: (end: number, to: number) => number;
}

const pageBytes = 65536;

/** Longest text for `decodePlain`: vectors may reach past its end. */
export const textBytesMax = pageBytes - 64;

/**
 * Decodes base64 as far as it is plain: whole turns of 64 characters, blanks left out. Strings are what the runtime's
 * own decoder takes; making them costs more than decoding, so it gets only the rest.
 * @param text at most `textBytesMax`
 * @returns the bytes and the text that comes after theirs; both are only lent until the next call
 */
export function decodePlain(text: Uint8Array): { bytes: Uint8Array; rest: Buffer } {
  made ??= instantiate();
  const { memory, decode, squeeze } = made;
  memory.set(text);
  let start = 0;
  let end = text.length;
  let decodedTo = decode(start, end);
  if (end - decodedTo >= turnChars) {
    memory.set(text); // decoding has overwritten it
    memory[end] = 0x20;
    start = pageBytes;
    end = squeeze(end, start);
    decodedTo = decode(start, end);
  }
  return {
    bytes: memory.subarray((start * 3) / 4, (decodedTo * 3) / 4),
    rest: Buffer.from(memory.buffer, decodedTo, end - decodedTo),
  };
}

let made: Base64Module | undefined;
const turnChars = 64;

function instantiate(): Base64Module {
  const { exports } = new WebAssembly.Instance(new WebAssembly.Module(moduleBytes()));
  const { m, d, s } = exports as {
    m: WebAssembly.Memory;
    d: Base64Module["decode"];
    s: Base64Module["squeeze"];
  };
  return { memory: new Uint8Array(m.buffer), decode: d, squeeze: s };
}

const [i32Type, v128Type] = [0x7f, 0x7b];

function moduleBytes(): Uint8Array<ArrayBuffer> {
  return Uint8Array.from([
    ...wasmHead,
    ...section(1, 1, 0x60, 2, i32Type, i32Type, 1, i32Type),
    ...section(3, 2, 0, 0),
    ...section(5, 1, 0x01, 2, 2), // one memory of exactly two pages
    ...section(7, 3, ...name("m"), 2, 0, ...name("d"), 0, 0, ...name("s"), 0, 1),
    ...codeSection([decodeBody(), squeezeBody()]),
  ]);
}

const load = (offset = 0) => vector(0x00, 0, offset);
const store = (offset = 0) => vector(0x0b, 0, offset);
const and = vector(0x4e);
const or = vector(0x50);
const add8 = vector(0x6e);
const equal8 = vector(0x23);
/** Indices are below 16, or above 127 for zero: there all processors agree. */
const lookUp = vector(0x100); // i8x16.relaxed_swizzle
const each = (...pattern: number[]) => Array.from({ length: 16 }, (_, i) => pattern[i % pattern.length]!);

/**
 * Tables by half a character. A character is bad if the entries of its halves share a bit.
 * Source of the method: W. Muła, D. Lemire, ACM Transactions on the Web 12 (2018) 20 (from memory).
 */
const tables = {
  half: each(0x0f),
  badLow: [0x15, ...Array<number>(9).fill(0x11), 0x13, 0x1a, 0x1b, 0x1b, 0x1b, 0x1a],
  badHigh: [0x10, 0x10, 1, 2, 4, 8, 4, 8, ...Array<number>(8).fill(0x10)],
  /** What makes a character its value, by its high half; the slash comes one earlier than the plus. */
  shift: [0, 16, 19, 4, -65, -65, -71, -71, ...Array<number>(8).fill(0)].map((value) => value & 0xff),
  slash: each(0x2f),
  pair: each(64, 1),
  pairOfPairs: each(0x00, 0x10, 0x01, 0x00),
  order: [2, 1, 0, 6, 5, 4, 10, 9, 8, 14, 13, 12, 0xff, 0xff, 0xff, 0xff],
};
type Table = keyof typeof tables;

/** The body of `decode`: four vectors of text a turn. */
function decodeBody(): number[] {
  const [at, end, to, bad, high, firstTable] = [0, 1, 2, 3, 4, 5] as const; // parameters, then locals
  const tableNames = Object.keys(tables) as Table[];
  const table = (which: Table) => get(firstTable + tableNames.indexOf(which));
  const vectors = [0, 1, 2, 3].map((k) => ({ k, text: firstTable + tableNames.length + k }));

  const toValues = ({ k, text }: { k: number; text: number }) => [
    ...[...get(at), ...load(16 * k), ...tee(text)],
    ...[...i32(4), ...vector(0x8d), ...table("half"), ...and, ...set(high)], // i16x8.shr_u
    ...[...table("badLow"), ...get(text), ...table("half"), ...and, ...lookUp],
    ...[...table("badHigh"), ...get(high), ...lookUp, ...and],
    ...[...get(bad), ...or, ...set(bad)],
    ...[...table("shift"), ...get(text), ...table("slash"), ...equal8, ...get(high), ...add8, ...lookUp],
    ...[...get(text), ...add8, ...set(text)],
  ];
  const toBytes = ({ k, text }: { k: number; text: number }) => [
    ...[...get(to), ...get(text), ...table("pair"), ...vector(0x112)], // i16x8.relaxed_dot_i8x16_i7x16_s
    ...[...table("pairOfPairs"), ...vector(0xba), ...table("order"), ...lookUp], // i32x4.dot_i16x8_s
    ...store(12 * k), // four bytes too many, which the next one covers
  ];
  const v128Count = 2 + tableNames.length + vectors.length;
  return [
    ...[2, 1, i32Type, ...unsigned(v128Count), v128Type],
    ...tableNames.flatMap((which) => [
      ...v128(tables[which]),
      ...set(firstTable + tableNames.indexOf(which)),
    ]),
    ...[...get(at), ...get(at), ...i32(2), 0x76, 0x6b, ...set(to)], // to = at - at / 4
    ...[0x02, 0x40, 0x03, 0x40], // block, loop
    ...[...get(at), ...i32(turnChars), 0x6a, ...get(end), 0x4b, 0x0d, 1], // leave if at + turn > end
    ...vectors.flatMap(toValues),
    ...[...get(bad), ...vector(0x53), 0x0d, 1], // leave if v128.any_true
    ...vectors.flatMap(toBytes),
    ...[...get(at), ...i32(turnChars), 0x6a, ...set(at)],
    ...[...get(to), ...i32((turnChars * 3) / 4), 0x6a, ...set(to)],
    ...[0x0c, 0, 0x0b, 0x0b], // again; ends of loop and block
    ...[...get(at), 0x0b],
  ];
}

/** The body of `squeeze`: copies 16 characters, then steps to the blank among them. */
function squeezeBody(): number[] {
  const [end, to, at, step, text] = [0, 1, 2, 3, 4] as const;
  const controls = each(0).map((_, code) => ([0x09, 0x0a, 0x0c, 0x0d].includes(code) ? 0xff : 0));
  return [
    ...[2, 2, i32Type, 1, v128Type],
    ...[0x03, 0x40], // loop
    ...[...get(to), ...get(at), ...load(), ...tee(text), ...store()],
    ...[...v128(controls), ...get(text), ...vector(0x0e)], // i8x16.swizzle: zero from 16 on
    ...[...get(text), ...v128(each(0x20)), ...equal8, ...or, ...vector(0x64)], // i8x16.bitmask
    ...[...i32(0x10000), 0x72, 0x68, ...tee(step)], // or, count trailing zeros: 16 without a blank
    ...[...get(to), 0x6a, ...set(to)],
    ...[...get(at), ...get(step), 0x6a, ...get(step), ...i32(16), 0x47, 0x6a, ...tee(at)], // past the blank
    ...[...get(end), 0x4d, 0x0d, 0, 0x0b], // again while at <= end
    ...[...get(to), 0x0b],
  ];
}
