import { bytesOf } from "../../../drivers/kit/kernels/host.ts";
import { type ColumnTransform, makeColumnTransform } from "./fft-columns.ts";
import { allocate, type FftLibrary, freeMemory } from "./fft-library.ts";
import type { Shape } from "./shape.ts";

/** Lengths that can be transformed are of the form 32 · 2^a 3^b 5^c. The smallest that holds `length`. */
export function fftLength(length: number): number {
  for (let blocks = Math.max(1, Math.ceil(length / 32)); ; blocks++) {
    let rest = blocks;
    for (const factor of [2, 3, 5]) while (rest % factor === 0) rest /= factor;
    if (rest === 1) return 32 * blocks;
  }
}

/**
 * Two-dimensional Fourier transform of real pictures of one size, in float32: rows by the library, then columns.
 * A spectrum is [heightPx, widthPx / 2 + 1] complex numbers, real part first, as numpy's `rfft2` has it.
 * Both sides must be lengths that `fftLength` returns.
 */
export class RealFft2d implements Disposable {
  readonly spectrumWidth: number;
  readonly #library: FftLibrary;
  readonly #shape: Shape;
  readonly #rowSetup: number;
  readonly #columns: ColumnTransform;
  /** Where a picture or its spectrum lies, and how far its rows are apart. */
  readonly #rows: number;
  readonly #rowBytes: number;
  readonly #work: number;

  constructor(library: FftLibrary, shape: Shape, makeColumns = makeColumnTransform) {
    const { widthPx, heightPx } = shape;
    for (const side of [widthPx, heightPx]) {
      if (fftLength(side) !== side) throw new RangeError(`${side} px is no length that can be transformed`);
    }
    this.#library = library;
    this.#shape = shape;
    this.spectrumWidth = widthPx / 2 + 1;
    this.#rowSetup = library.pffft._pffft_new_setup(widthPx, 0);
    // An odd number of the cache's lines: a column does not fall into the same few places of it.
    this.#rowBytes = (Math.ceil((8 * this.spectrumWidth) / 64) | 1) * 64;
    this.#rows = allocate(library, this.#rowBytes * heightPx);
    this.#work = allocate(library, 4 * widthPx);
    const columnCount = this.spectrumWidth;
    this.#columns = makeColumns(library, { columnCount, heightPx, rowBytes: this.#rowBytes });
    // Columns beyond the last one are transformed with it: nothing slow or infinite may lie there.
    this.#heap().fill(0, this.#rows, this.#rows + this.#rowBytes * heightPx);
  }

  newSpectrum(): Float32Array {
    return new Float32Array(2 * this.spectrumWidth * this.#shape.heightPx);
  }

  forward(picture: Float32Array, spectrum: Float32Array): void {
    const { widthPx, heightPx } = this.#shape;
    const [heap, numbers] = [this.#heap(), this.#library.pffft.HEAPF32];
    const from = bytesOf(picture);
    for (let y = 0; y < heightPx; y++) {
      const row = this.#rows + y * this.#rowBytes;
      from.copy(heap, row, 4 * y * widthPx, 4 * (y + 1) * widthPx);
      this.#transformRow(row, 0);
      // The library keeps the real last coefficient where the first one's imaginary part, zero, would be.
      const first = row >> 2;
      numbers[first + widthPx] = numbers[first + 1]!;
      numbers[first + widthPx + 1] = 0;
      numbers[first + 1] = 0;
    }
    this.#columns.transform(this.#rows, 0, 1);
    const [into, rowBytes] = [bytesOf(spectrum), 8 * this.spectrumWidth];
    for (let y = 0; y < heightPx; y++) {
      const row = this.#rows + y * this.#rowBytes;
      heap.copy(into, y * rowBytes, row, row + rowBytes);
    }
  }

  /** Undoes `forward`. */
  inverse(spectrum: Float32Array, picture: Float32Array): void {
    const { widthPx, heightPx } = this.#shape;
    const [heap, numbers] = [this.#heap(), this.#library.pffft.HEAPF32];
    const [from, rowBytes] = [bytesOf(spectrum), 8 * this.spectrumWidth];
    for (let y = 0; y < heightPx; y++)
      from.copy(heap, this.#rows + y * this.#rowBytes, y * rowBytes, (y + 1) * rowBytes);
    this.#columns.transform(this.#rows, 1, 1 / (widthPx * heightPx));
    const into = bytesOf(picture);
    for (let y = 0; y < heightPx; y++) {
      const row = this.#rows + y * this.#rowBytes;
      numbers[(row >> 2) + 1] = numbers[(row >> 2) + widthPx]!;
      this.#transformRow(row, 1);
      heap.copy(into, 4 * y * widthPx, row, row + 4 * widthPx);
    }
  }

  [Symbol.dispose](): void {
    this.#columns[Symbol.dispose]();
    this.#library.pffft._pffft_destroy_setup(this.#rowSetup);
    freeMemory(this.#library, this.#rows);
    freeMemory(this.#library, this.#work);
  }

  #heap(): Buffer {
    return bytesOf(this.#library.pffft.HEAPF32);
  }

  #transformRow(address: number, direction: 0 | 1): void {
    this.#library.pffft._pffft_transform_ordered(this.#rowSetup, address, address, this.#work, direction);
  }
}
