import {
  codeSection,
  get,
  i32,
  name,
  section,
  set,
  tee,
  unsigned,
  vector,
  wasmHead,
} from "../../formats/wasm-code.ts";

/** Most rows of a block of eight columns. */
export const bandPx = 512;
/** Columns that are turned at once; they lie at the start of the memory, this many bytes apart. */
export const columnsAtOnce = 8;
export const columnPitchBytes = 4 * bandPx;
/** Where rows may be written. */
export const rowsStart = columnsAtOnce * columnPitchBytes;

export type PixelBytes = 1 | 2 | 4;

/** @returns all pixels or-ed together, in as many bits as they have on the wire; lanes of 16 bits come in pairs */
type Turn = (rowCount: number, to: number, rowBytes: number) => number;

export interface TurnModule {
  readonly memory: WebAssembly.Memory;
  /** Turns eight columns of so many rows (a multiple of eight) into rows of 16 bits, `rowBytes` apart from `to` on. */
  readonly turn: Record<PixelBytes, Turn>;
}

let made: TurnModule | undefined;

/** Made with the first image. */
export function turnModule(): TurnModule {
  made ??= instantiate();
  return made;
}

function instantiate(): TurnModule {
  const { exports } = new WebAssembly.Instance(new WebAssembly.Module(moduleBytes()));
  const { m, t1, t2, t4 } = exports as { m: WebAssembly.Memory } & Record<"t1" | "t2" | "t4", Turn>;
  return { memory: m, turn: { 1: t1, 2: t2, 4: t4 } };
}

const [i32Type, v128Type] = [0x7f, 0x7b];

function moduleBytes(): Uint8Array<ArrayBuffer> {
  const functions = ["t1", "t2", "t4"].flatMap((text, index) => [...name(text), 0, index]);
  return Uint8Array.from([
    ...wasmHead,
    ...section(1, 1, 0x60, 3, i32Type, i32Type, i32Type, 1, i32Type),
    ...section(3, 3, 0, 0, 0),
    ...section(5, 1, 0x00, 1), // one memory, which grows with the images
    ...section(7, 4, ...name("m"), 2, 0, ...functions),
    ...codeSection([turnBody(1), turnBody(2), turnBody(4)]),
  ]);
}

const or = vector(0x50);
const [rowCount, to, rowBytes, at, seen, firstVector] = [0, 1, 2, 3, 4, 5] as const; // parameters, then locals

const load = (opcode: number, offset: number) => [...get(at), ...vector(opcode, 0, ...unsigned(offset))];
const see = (pixels: readonly number[]) => [...pixels, ...get(seen), ...or, ...set(seen)];

/** Eight pixels of one column as 16-bit words. */
function eightOf(column: number, bytes: PixelBytes, scratch: readonly [number, number]): number[] {
  const offset = column * columnPitchBytes;
  if (bytes === 1) return load(0x02, offset); // v128.load8x8_u
  const [low, high] = scratch;
  if (bytes === 2) return [...load(0, offset), ...tee(low), ...see(get(low))];
  return [
    ...[...load(0, offset), ...tee(low), ...load(0, offset + 16), ...tee(high)],
    ...see([...get(low), ...get(high), ...or]),
    ...vector(0x86), // i16x8.narrow_i32x4_u: what does not fit shows in `seen`
  ];
}

/** Groups of so many bytes from two vectors in turn, from their first or their second half. */
function interleave(a: number, b: number, groupBytes: number, half: 0 | 1): number[] {
  const lanes = Array.from({ length: 16 }, (_, lane) => {
    const group = Math.floor(lane / groupBytes);
    const from = half * 8 + Math.floor(group / 2) * groupBytes + (lane % groupBytes);
    return group % 2 === 0 ? from : 16 + from;
  });
  return [...get(a), ...get(b), ...vector(0x0d, ...lanes)]; // i8x16.shuffle
}

/** Vectors paired by the distance of their numbers: afterwards the first holds the lower rows of both, the second the higher. */
function pairUp(from: readonly number[], into: readonly number[], distance: 1 | 2 | 4): number[] {
  return from.flatMap((a, k) => {
    if ((k & distance) !== 0) return [];
    const b = from[k + distance]!;
    return [
      ...[...interleave(a, b, 2 * distance, 0), ...set(into[k]!)],
      ...[...interleave(a, b, 2 * distance, 1), ...set(into[k + distance]!)],
    ];
  });
}

/** After three rounds each vector is a row; its number's bits are those of the row's, in reverse. */
const rowsInOrder = [0, 4, 2, 6, 1, 5, 3, 7];

function turnBody(bytes: PixelBytes): number[] {
  const [first, second] = [0, 8].map((from) =>
    Array.from({ length: 8 }, (_, k) => firstVector + from + k),
  ) as [number[], number[]];
  const columns = first.flatMap((local, k) => [
    ...eightOf(k, bytes, [second[0]!, second[1]!]),
    ...set(local),
  ]);
  const rows = rowsInOrder.flatMap((k) => [
    ...[...get(to), ...get(second[k]!), ...vector(0x0b, 0, 0)], // v128.store
    ...[...get(to), ...get(rowBytes), 0x6a, ...set(to)],
  ]);
  return [
    ...[2, 1, i32Type, 17, v128Type],
    ...[0x03, 0x40, ...columns], // loop
    ...[...pairUp(first, second, 1), ...pairUp(second, first, 2), ...pairUp(first, second, 4), ...rows],
    ...[...get(at), ...i32(8 * bytes), 0x6a, ...tee(at)],
    ...[...get(rowCount), ...i32(bytes), 0x6c, 0x49, 0x0d, 0, 0x0b], // again while at < rowCount * bytes
    ...[0, 1, 2, 3].flatMap((lane) => [...get(seen), ...vector(0x1b, lane)]), // i32x4.extract_lane
    ...[0x72, 0x72, 0x72, 0x0b], // i32.or
  ];
}
