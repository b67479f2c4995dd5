import { bytesOf } from "../kernels/bytes-of.ts";
import { compiledKernel } from "../kernels/compile-kernel.ts";
import type { Shape } from "./shape.ts";

/** Box filters of these radii one after the other, in place. Outside the picture there is nothing: sums are short there. */
export type BoxBlurs = (picture: Float32Array, shape: Shape, radiiPx: readonly number[]) => void;

/** What the compiled one is held to, and what works without a compiler. */
export const plainBoxBlurs: BoxBlurs = (picture, shape, radiiPx) => {
  const scratch = new Float32Array(picture.length);
  for (const radius of radiiPx) {
    boxAlongRows(picture, scratch, shape, radius);
    alongColumns(scratch, picture, shape, radius);
  }
};

export function boxAlongRows(
  from: Float32Array,
  into: Float32Array,
  { widthPx, heightPx }: Shape,
  radius: number,
): void {
  const norm = 1 / (2 * radius + 1);
  for (let y = 0; y < heightPx; y++) {
    const row = y * widthPx;
    let sum = 0;
    for (let x = 0; x < Math.min(radius, widthPx); x++) sum += from[row + x]!;
    for (let x = 0; x < widthPx; x++) {
      if (x + radius < widthPx) sum += from[row + x + radius]!;
      if (x - radius - 1 >= 0) sum -= from[row + x - radius - 1]!;
      into[row + x] = sum * norm;
    }
  }
}

function alongColumns(from: Float32Array, into: Float32Array, shape: Shape, radius: number): void {
  const { widthPx, heightPx } = shape;
  const norm = 1 / (2 * radius + 1);
  const sums = new Float64Array(widthPx);
  for (let y = 0; y < Math.min(radius, heightPx); y++)
    for (let x = 0; x < widthPx; x++) sums[x]! += from[y * widthPx + x]!;
  for (let y = 0; y < heightPx; y++) {
    const enters = (y + radius) * widthPx;
    const leaves = (y - radius - 1) * widthPx;
    if (y + radius < heightPx) for (let x = 0; x < widthPx; x++) sums[x]! += from[enters + x]!;
    if (y - radius - 1 >= 0) for (let x = 0; x < widthPx; x++) sums[x]! -= from[leaves + x]!;
    for (let x = 0; x < widthPx; x++) into[y * widthPx + x] = sums[x]! * norm;
  }
}

interface Kernel {
  across(from: number, into: number, rowBytes: number, widthPx: number, radius: number): void;
  down(sums: number, enters: number, leaves: number, into: number, columns: number, norm: number): void;
}

/** Rows that the kernel filters at once. */
const rowsAtOnce = 4;

/**
 * By SIMD in WebAssembly, row by row: what is in work are the rows within reach, so that it fits the cache, and its memory does
 * not grow with the picture's height.
 * @returns `undefined` where there is no compiler
 */
export function compiledBoxBlurs(): BoxBlurs | undefined {
  const module = compiledKernel("box-blur");
  if (module === undefined) return undefined;
  const memory = new WebAssembly.Memory({ initial: 1 });
  const kernel = new WebAssembly.Instance(module, { env: { memory } }).exports as unknown as Kernel;
  return (picture, { widthPx, heightPx }, radiiPx) => {
    const columns = Math.ceil(widthPx / 4) * 4;
    const rowBytes = 4 * columns;
    let end = 16;
    const room = (bytes: number) => {
      end += bytes;
      return end - bytes;
    };
    const [one, two, last] = [
      room(rowsAtOnce * rowBytes),
      room(rowsAtOnce * rowBytes),
      room(rowsAtOnce * rowBytes),
    ];
    const boxes = radiiPx.map((radius): ColumnBox => {
      const slots = Math.ceil((2 * radius + 2 + rowsAtOnce) / rowsAtOnce) * rowsAtOnce;
      return { radius, slots, rows: room(slots * rowBytes), sums: room(2 * rowBytes), entered: 0 };
    });
    const missing = end - memory.buffer.byteLength;
    if (missing > 0) memory.grow(Math.ceil(missing / 65_536));
    const bytes = bytesOf(new Uint8Array(memory.buffer));
    for (const { sums } of boxes) bytes.fill(0, sums, sums + 2 * rowBytes);
    const pixels = bytesOf(picture);
    let done = 0;
    const takeOut = () => {
      bytes.copy(pixels, 4 * widthPx * done++, last, last + 4 * widthPx);
    };
    const slotOf = (box: ColumnBox, row: number) => box.rows + (row % box.slots) * rowBytes;
    /** Of the row that has come in, or of none any more, what the box makes of it goes on to the next. */
    const step = (k: number, hasEntered: boolean) => {
      const box = boxes[k]!;
      const row = box.entered++;
      const enters = hasEntered ? slotOf(box, row) : 0;
      const made = row - box.radius;
      const leaving = made - box.radius - 1;
      const leaves = made >= 0 && leaving >= 0 && leaving < heightPx ? slotOf(box, leaving) : 0;
      const next = boxes[k + 1];
      const into = made < 0 ? 0 : next ? slotOf(next, made) : last;
      kernel.down(box.sums, enters, leaves, into, columns, 1 / (2 * box.radius + 1));
      if (made < 0) return;
      if (next) step(k + 1, true);
      else takeOut();
    };
    for (let y = 0; y < heightPx; y += rowsAtOnce) {
      const rows = Math.min(rowsAtOnce, heightPx - y);
      for (let k = 0; k < rows; k++)
        pixels.copy(bytes, one + k * rowBytes, 4 * widthPx * (y + k), 4 * widthPx * (y + k + 1));
      let [from, into] = [one, two];
      radiiPx.forEach((radius, k) => {
        if (k === radiiPx.length - 1) into = slotOf(boxes[0]!, y);
        kernel.across(from, into, rowBytes, widthPx, radius);
        [from, into] = [into, from];
      });
      for (let k = 0; k < rows; k++) step(0, true);
    }
    boxes.forEach(({ radius }, k) => {
      for (let row = 0; row < radius; row++) step(k, false);
    });
  };
}

interface ColumnBox {
  readonly radius: number;
  /** Rows that are kept, and where. */
  readonly slots: number;
  readonly rows: number;
  readonly sums: number;
  entered: number;
}

let made: BoxBlurs | undefined;

/** Made at first use. */
export const boxBlurs: BoxBlurs = (picture, shape, radiiPx) => {
  made ??= compiledBoxBlurs() ?? plainBoxBlurs;
  made(picture, shape, radiiPx);
};
