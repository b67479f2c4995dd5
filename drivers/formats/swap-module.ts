interface SwapModule {
  /** Bytes to be swapped lie at its start. */
  readonly memory: Uint8Array;
  /** Reverses the bytes of each group of 2, 4 or 8 in place, then flips bits by `flip` in each four bytes. */
  readonly swap: Record<2 | 4 | 8, (length: number, flip: number) => void>;
}

let made: SwapModule | undefined;

/** Made at first use: most commands never need it. */
export function swapModule(): SwapModule {
  made ??= instantiate();
  return made;
}

const memoryBytes = 65536; // one page, the whole of the module's memory

function instantiate(): SwapModule {
  const { exports } = new WebAssembly.Instance(new WebAssembly.Module(moduleBytes()));
  const { m, s2, s4, s8 } = exports as Record<"s2" | "s4" | "s8", (length: number, flip: number) => void> & {
    m: WebAssembly.Memory;
  };
  return { memory: new Uint8Array(m.buffer, 0, memoryBytes), swap: { 2: s2, 4: s4, 8: s8 } };
}

/**
 * The module, assembled here so that no build step is needed: a memory of one page and one function for each width.
 * Source: WebAssembly Core Specification 2.0, chapter 5 (binary format).
 */
function moduleBytes(): Uint8Array<ArrayBuffer> {
  const i32 = 0x7f;
  const section = (id: number, ...content: number[]) => [id, ...unsigned(content.length), ...content];
  const name = (text: string) => [text.length, ...Buffer.from(text)];
  const bodies = [2, 4, 8].map(swapBody);
  return Uint8Array.from([
    ...[0x00, 0x61, 0x73, 0x6d, 0x01, 0x00, 0x00, 0x00], // magic, version
    ...section(1, 1, 0x60, 2, i32, i32, 0), // one type: two i32 in, nothing out
    ...section(3, 3, 0, 0, 0), // three functions of that type
    ...section(5, 1, 0x01, 1, 1), // one memory of exactly one page
    ...section(7, 4, ...name("m"), 2, 0, ...name("s2"), 0, 0, ...name("s4"), 0, 1, ...name("s8"), 0, 2),
    ...section(10, 3, ...bodies.flatMap((body) => [...unsigned(body.length), ...body])),
  ]);
}

/** Bytes handled in one turn of the loop; the memory is a multiple of it, so the last turn may run past the length. */
const strideBytes = 64;

/** The body of a function that reverses each group of `width` bytes. */
function swapBody(width: number): number[] {
  const [length, flip, at, flips, piece] = [0, 1, 2, 3, 4]; // parameters, then locals
  const get = (local: number) => [0x20, local];
  const set = (local: number) => [0x21, local];
  const tee = (local: number) => [0x22, local];
  const lanes = Array.from({ length: 16 }, (_, byte) => byte - (byte % width) + (width - 1 - (byte % width)));
  const turn = (offset: number) => [
    ...get(at!),
    ...[...get(at!), 0xfd, 0x00, 4, offset, ...tee(piece!)], // v128.load
    ...[...get(piece!), 0xfd, 0x0d, ...lanes], // i8x16.shuffle
    ...[...get(flips!), 0xfd, 0x51], // v128.xor
    ...[0xfd, 0x0b, 4, offset], // v128.store
  ];
  return [
    ...[2, 1, 0x7f, 2, 0x7b], // locals: one i32, two v128
    ...[...get(flip!), 0xfd, 0x11, ...set(flips!)], // i32x4.splat
    ...[0x03, 0x40], // loop
    ...[0, 16, 32, 48].flatMap(turn),
    ...[...get(at!), 0x41, ...signed(strideBytes), 0x6a, ...tee(at!)], // at += stride
    ...[...get(length!), 0x49, 0x0d, 0], // again while at < length
    ...[0x0b, 0x0b], // end of loop, end of function
  ];
}

/** LEB128, as the binary format writes numbers. */
function unsigned(value: number): number[] {
  return value < 0x80 ? [value] : [(value & 0x7f) | 0x80, ...unsigned(value >>> 7)];
}

/** The signed form, for what is not negative: bit 6 of the last byte must be clear. */
function signed(value: number): number[] {
  return value < 0x40 ? [value] : [(value & 0x7f) | 0x80, ...signed(value >>> 7)];
}
