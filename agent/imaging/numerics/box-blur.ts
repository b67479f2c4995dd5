import { bytesOf, f32, f64, type Kernel, layout, startKernel } from "../../../drivers/kit/kernels/host.ts";
import type { Shape } from "./shape.ts";

/** Box filters of these radii one after the other, in place. Outside the picture there is nothing: sums are short there. */
export type BoxBlurs = (picture: Float32Array, shape: Shape, radiiPx: readonly number[]) => void;

interface ColumnBox {
  readonly radius: number;
  /** Rows that are kept, and where. */
  readonly slots: number;
  readonly rows: number;
  readonly sums: number;
  entered: number;
}

/** Rows that the kernel filters at once. */
const rowsAtOnce = 4;

/** One for all pictures, made with the first one. */
let made: { memory: WebAssembly.Memory; kernel: Kernel<"box-blur"> } | undefined;

/**
 * By SIMD in WebAssembly, row by row: what is in work are the rows within reach, so that it fits the cache, and its memory does
 * not grow with the picture's height.
 */
export const boxBlurs: BoxBlurs = (picture, { widthPx, heightPx }, radiiPx) => {
  made ??= startBlur();
  const { memory, kernel } = made;
  const columns = Math.ceil(widthPx / 4) * 4;
  const rowBytes = 4 * columns;
  let slotCount = 0;
  const places = radiiPx.map((radius) => {
    const slots = Math.ceil((2 * radius + 2 + rowsAtOnce) / rowsAtOnce) * rowsAtOnce;
    slotCount += slots;
    return { radius, slots, firstSlot: slotCount - slots };
  });
  const { at, views, bytes } = layout(
    {
      one: f32(rowsAtOnce * columns),
      two: f32(rowsAtOnce * columns),
      last: f32(columns),
      rows: f32(slotCount * columns),
      sums: f64(radiiPx.length * columns),
    },
    memory,
  );
  views.sums.fill(0);
  const boxes = places.map(
    ({ radius, slots, firstSlot }, k): ColumnBox => ({
      radius,
      slots,
      rows: at.rows + firstSlot * rowBytes,
      sums: at.sums + 2 * k * rowBytes,
      entered: 0,
    }),
  );
  const pixels = bytesOf(picture);
  let done = 0;
  const takeOut = () => {
    bytes.copy(pixels, 4 * widthPx * done++, at.last, at.last + 4 * widthPx);
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
    const into = made < 0 ? 0 : next ? slotOf(next, made) : at.last;
    kernel.down({
      sums: box.sums,
      enters,
      leaves,
      into,
      width: columns,
      norm: 1 / (2 * box.radius + 1),
    });
    if (made < 0) return;
    if (next) step(k + 1, true);
    else takeOut();
  };
  for (let y = 0; y < heightPx; y += rowsAtOnce) {
    const rows = Math.min(rowsAtOnce, heightPx - y);
    for (let k = 0; k < rows; k++)
      pixels.copy(bytes, at.one + k * rowBytes, 4 * widthPx * (y + k), 4 * widthPx * (y + k + 1));
    let [from, into] = [at.one, at.two];
    radiiPx.forEach((radius, k) => {
      if (k === radiiPx.length - 1) into = slotOf(boxes[0]!, y);
      kernel.across({ from, into, bytes: rowBytes, width: widthPx, radius });
      [from, into] = [into, from];
    });
    for (let k = 0; k < rows; k++) step(0, true);
  }
  boxes.forEach(({ radius }, k) => {
    for (let row = 0; row < radius; row++) step(k, false);
  });
};

function startBlur() {
  const memory = new WebAssembly.Memory({ initial: 1 });
  return { memory, kernel: startKernel("box-blur", memory) };
}

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
