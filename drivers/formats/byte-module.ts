import { codeSection, get, name, section, set, signed, tee, wasmHead } from "./wasm-code.ts";

interface ByteModule {
  /** Bytes to be worked on lie at its start. */
  readonly memory: Uint8Array;
  /** Reverses the bytes of each group of 2, 4 or 8 in place, then flips bits by `flip` in each four bytes. */
  readonly swap: Record<2 | 4 | 8, (length: number, flip: number) => void>;
  /** Sum of big-endian 32-bit words, exact; `length` is a multiple of 64 bytes. */
  readonly sum: (length: number) => number;
}

let made: ByteModule | undefined;

/** Made at first use: most commands never need it. */
export function byteModule(): ByteModule {
  made ??= instantiate();
  return made;
}

const memoryBytes = 16384; // of the page that a memory has at least: this much stays in the innermost cache

function instantiate(): ByteModule {
  const { exports } = new WebAssembly.Instance(new WebAssembly.Module(moduleBytes()));
  const { m, s2, s4, s8, add } = exports as {
    m: WebAssembly.Memory;
    add: ByteModule["sum"];
  } & Record<"s2" | "s4" | "s8", (length: number, flip: number) => void>;
  return { memory: new Uint8Array(m.buffer, 0, memoryBytes), swap: { 2: s2, 4: s4, 8: s8 }, sum: add };
}

/**
 * The module, assembled here so that no build step is needed: a memory of one page, a swap for each width, a sum.
 * Source: WebAssembly Core Specification 2.0, chapter 5 (binary format).
 */
function moduleBytes(): Uint8Array<ArrayBuffer> {
  const [i32, f64] = [0x7f, 0x7c];
  const functions = ["s2", "s4", "s8", "add"].flatMap((text, index) => [...name(text), 0, index]);
  const bodies = [swapBody(2), swapBody(4), swapBody(8), sumBody()];
  return Uint8Array.from([
    ...wasmHead,
    ...section(1, 2, ...[0x60, 2, i32, i32, 0], ...[0x60, 1, i32, 1, f64]), // types of a swap and of the sum
    ...section(3, 4, 0, 0, 0, 1), // four functions of these types
    ...section(5, 1, 0x01, 1, 1), // one memory of exactly one page
    ...section(7, 5, ...name("m"), 2, 0, ...functions),
    ...codeSection(bodies),
  ]);
}

/** Bytes handled in one turn of a loop; the memory is a multiple of it, so a swap's last turn may run past the length. */
const strideBytes = 64;
const offsets = [0, 16, 32, 48];

/** Loads 16 bytes from `at` + offset and reverses each group of `width`; `piece` is a local to pass them through. */
const loadReversed = (
  width: number,
  { at, offset, piece }: { at: number; offset: number; piece: number },
) => [
  ...[...get(at), 0xfd, 0x00, 4, offset, ...tee(piece)], // v128.load
  ...[...get(piece), 0xfd, 0x0d], // i8x16.shuffle, with these lanes:
  ...Array.from({ length: 16 }, (_, byte) => byte - (byte % width) + (width - 1 - (byte % width))),
];
/** A loop over `at` from 0 to `length` in strides. */
const loop = (body: readonly number[], { at, length }: { at: number; length: number }) => [
  ...[0x03, 0x40, ...body], // loop
  ...[...get(at), 0x41, ...signed(strideBytes), 0x6a, ...tee(at)], // at += stride
  ...[...get(length), 0x49, 0x0d, 0, 0x0b], // again while at < length
];

/** The body of a function (length, flip) that reverses each group of `width` bytes. */
function swapBody(width: number): number[] {
  const [length, flip, at, flips, piece] = [0, 1, 2, 3, 4] as const; // parameters, then locals
  const turn = (offset: number) => [
    ...[...get(at), ...loadReversed(width, { at, offset, piece })],
    ...[...get(flips), 0xfd, 0x51], // v128.xor
    ...[0xfd, 0x0b, 4, offset], // v128.store
  ];
  return [
    ...[2, 1, 0x7f, 2, 0x7b], // locals: one i32, two v128
    ...[...get(flip), 0xfd, 0x11, ...set(flips)], // i32x4.splat
    ...[...loop(offsets.flatMap(turn), { at, length }), 0x0b],
  ];
}

/** The body of a function (length) that adds words up in 64 bits: no piece of memory can overflow that. */
function sumBody(): number[] {
  const [length, at, piece, sums] = [0, 1, 2, 3] as const;
  const add = [0xfd, 0xce, 0x01]; // i64x2.add
  const turn = (offset: number) => [
    ...[...loadReversed(4, { at, offset, piece }), ...tee(piece)],
    ...[0xfd, 0xc9, 0x01, ...get(piece), 0xfd, 0xca, 0x01, ...add], // i64x2.extend_low_i32x4_u, …high…
    ...[...get(sums), ...add, ...set(sums)],
  ];
  return [
    ...[2, 1, 0x7f, 2, 0x7b], // locals: one i32, two v128
    ...loop(offsets.flatMap(turn), { at, length }),
    ...[...get(sums), 0xfd, 0x1d, 0, ...get(sums), 0xfd, 0x1d, 1], // i64x2.extract_lane
    ...[0x7c, 0xba, 0x0b], // i64.add, f64.convert_i64_u
  ];
}
