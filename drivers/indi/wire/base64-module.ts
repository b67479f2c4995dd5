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
} from "../../formats/wasm-code.ts";

interface Base64Module {
  /** Text and, in its place, what it becomes. */
  readonly memory: Uint8Array;
  /**
   * Decodes whole turns of 64 characters and stops before one with anything but the 64 characters of base64.
   * @returns how many characters are decoded
   */
  readonly decode: (length: number) => number;
}

/** Longest text for `decodePlain`. */
export const textBytesMax = 65536; // one page, the whole of the module's memory

/**
 * Decodes base64 as far as whole turns of 64 characters are plain, without blanks or padding. The runtime's own
 * decoder takes strings, and making them costs more than decoding; it gets only what is not plain.
 * @param text at most `textBytesMax`
 * @returns three bytes for each four characters used; only lent until the next call
 */
export function decodePlain(text: Uint8Array): Uint8Array {
  made ??= instantiate();
  made.memory.set(text);
  return made.memory.subarray(0, (made.decode(text.length) * 3) / 4);
}

let made: Base64Module | undefined;
const turnChars = 64;

function instantiate(): Base64Module {
  const { exports } = new WebAssembly.Instance(new WebAssembly.Module(moduleBytes()));
  const { m, d } = exports as { m: WebAssembly.Memory; d: Base64Module["decode"] };
  return { memory: new Uint8Array(m.buffer), decode: d };
}

const [i32Type, v128Type] = [0x7f, 0x7b];

function moduleBytes(): Uint8Array<ArrayBuffer> {
  return Uint8Array.from([
    ...wasmHead,
    ...section(1, 1, 0x60, 1, i32Type, 1, i32Type),
    ...section(3, 1, 0),
    ...section(5, 1, 0x01, 1, 1), // one memory of exactly one page
    ...section(7, 2, ...name("m"), 2, 0, ...name("d"), 0, 0),
    ...codeSection([decodeBody()]),
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
  const [length, at, to, bad, high, firstTable] = [0, 1, 2, 3, 4, 5] as const; // parameters, then locals
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
    ...[2, 2, i32Type, ...unsigned(v128Count), v128Type],
    ...tableNames.flatMap((which) => [
      ...v128(tables[which]),
      ...set(firstTable + tableNames.indexOf(which)),
    ]),
    ...[0x02, 0x40, 0x03, 0x40], // block, loop
    ...[...get(at), ...i32(turnChars), 0x6a, ...get(length), 0x4b, 0x0d, 1], // leave if at + turn > length
    ...vectors.flatMap(toValues),
    ...[...get(bad), ...vector(0x53), 0x0d, 1], // leave if v128.any_true
    ...vectors.flatMap(toBytes),
    ...[...get(at), ...i32(turnChars), 0x6a, ...set(at)],
    ...[...get(to), ...i32((turnChars * 3) / 4), 0x6a, ...set(to)],
    ...[0x0c, 0, 0x0b, 0x0b], // again; ends of loop and block
    ...[...get(at), 0x0b],
  ];
}
