import load, { type Pffft } from "@echogarden/pffft-wasm/simd";
import { bytesOf } from "../kernels/bytes-of.ts";
import type { Shape } from "./shape.ts";

/** The library, once loaded: transforms themselves never wait. */
export type FftLibrary = Pffft;

export const loadFft: () => Promise<FftLibrary> = load;

/** Lengths that the library takes are of the form 32 · 2^a 3^b 5^c. The smallest that holds `length`. */
export function fftLength(length: number): number {
  for (let blocks = Math.max(1, Math.ceil(length / 32)); ; blocks++) {
    let rest = blocks;
    for (const factor of [2, 3, 5]) while (rest % factor === 0) rest /= factor;
    if (rest === 1) return 32 * blocks;
  }
}

const columnsAtOnce = 16;

/**
 * Two-dimensional Fourier transform of real pictures of one size, in float32.
 * A spectrum is [heightPx, widthPx / 2 + 1] complex numbers, real part first, as numpy's `rfft2` has it.
 * Both sides must be lengths that `fftLength` returns.
 */
export class RealFft2d implements Disposable {
  readonly spectrumWidth: number;
  readonly #library: FftLibrary;
  readonly #shape: Shape;
  readonly #rowSetup: number;
  readonly #columnSetup: number;
  readonly #scratch: number;
  readonly #work: number;

  constructor(library: FftLibrary, shape: Shape) {
    for (const side of [shape.widthPx, shape.heightPx]) {
      if (fftLength(side) !== side) throw new RangeError(`${side} px is no length that can be transformed`);
    }
    this.#library = library;
    this.#shape = shape;
    this.spectrumWidth = shape.widthPx / 2 + 1;
    this.#rowSetup = library._pffft_new_setup(shape.widthPx, 0);
    this.#columnSetup = library._pffft_new_setup(shape.heightPx, 1);
    const longest = Math.max(shape.widthPx, 2 * shape.heightPx);
    this.#scratch = library._pffft_aligned_malloc(
      Math.max(4 * shape.widthPx, 8 * columnsAtOnce * columnStep(shape)),
    );
    this.#work = library._pffft_aligned_malloc(4 * longest);
  }

  newSpectrum(): Float32Array {
    return new Float32Array(2 * this.spectrumWidth * this.#shape.heightPx);
  }

  forward(picture: Float32Array, spectrum: Float32Array): void {
    const { widthPx, heightPx } = this.#shape;
    const rowFloats = 2 * this.spectrumWidth;
    const heap = this.#heapBytes();
    const [from, into] = [bytesOf(picture), bytesOf(spectrum)];
    for (let y = 0; y < heightPx; y++) {
      from.copy(heap, this.#scratch, 4 * y * widthPx, 4 * (y + 1) * widthPx);
      this.#transform(this.#rowSetup, this.#scratch, 0);
      const to = y * rowFloats;
      heap.copy(into, 4 * to, this.#scratch, this.#scratch + 4 * widthPx);
      // The library keeps the real last coefficient where the first one's imaginary part, zero, would be.
      spectrum[to + widthPx] = spectrum[to + 1]!;
      spectrum[to + widthPx + 1] = 0;
      spectrum[to + 1] = 0;
    }
    this.#columns(spectrum, 0);
  }

  /** Undoes `forward`; the spectrum is used up. */
  inverse(spectrum: Float32Array, picture: Float32Array): void {
    const { widthPx, heightPx } = this.#shape;
    const rowFloats = 2 * this.spectrumWidth;
    this.#columns(spectrum, 1);
    const heap = this.#library.HEAPF32;
    const at = this.#scratch >> 2;
    const scale = 1 / (widthPx * heightPx);
    for (let y = 0; y < heightPx; y++) {
      const from = y * rowFloats;
      heap.set(spectrum.subarray(from, from + widthPx), at);
      heap[at + 1] = spectrum[from + widthPx]!;
      this.#transform(this.#rowSetup, this.#scratch, 1);
      const to = y * widthPx;
      for (let x = 0; x < widthPx; x++) picture[to + x] = heap[at + x]! * scale;
    }
  }

  [Symbol.dispose](): void {
    this.#library._pffft_destroy_setup(this.#rowSetup);
    this.#library._pffft_destroy_setup(this.#columnSetup);
    this.#library._pffft_aligned_free(this.#scratch);
    this.#library._pffft_aligned_free(this.#work);
  }

  #heapBytes(): Buffer {
    return bytesOf(this.#library.HEAPF32);
  }

  #transform(setup: number, address: number, direction: 0 | 1): void {
    this.#library._pffft_transform_ordered(setup, address, address, this.#work, direction);
  }

  #columns(spectrum: Float32Array, direction: 0 | 1): void {
    const { heightPx } = this.#shape;
    const heap = new Float64Array(this.#library.HEAPF32.buffer);
    const numbers = new Float64Array(spectrum.buffer, spectrum.byteOffset, spectrum.length / 2);
    for (let first = 0; first < this.spectrumWidth; first += columnsAtOnce) {
      const count = Math.min(columnsAtOnce, this.spectrumWidth - first);
      const picked = { first, count, rowLength: this.spectrumWidth, heightPx, step: columnStep(this.#shape) };
      pickColumns(numbers, heap, this.#scratch >> 3, picked);
      for (let k = 0; k < count; k++)
        this.#transform(this.#columnSetup, this.#scratch + 8 * k * picked.step, direction);
      putColumns(numbers, heap, this.#scratch >> 3, picked);
    }
  }
}

interface Picked {
  readonly first: number;
  readonly count: number;
  readonly rowLength: number;
  readonly heightPx: number;
  /** From one column to the next where they are transformed. */
  readonly step: number;
}

/** Not a power of two, which would put all columns into the same few places of the cache. */
function columnStep({ heightPx }: Shape): number {
  return heightPx + 8;
}

// A complex number of two float32 is moved as one float64: half the moves, and its bits stay what they are.

function pickColumns(numbers: Float64Array, heap: Float64Array, at: number, picked: Picked): void {
  const { first, count, rowLength, heightPx, step } = picked;
  for (let y = 0; y < heightPx; y++) {
    const from = y * rowLength + first;
    let to = at + y;
    for (let k = 0; k < count; k++) {
      heap[to] = numbers[from + k]!;
      to += step;
    }
  }
}

function putColumns(numbers: Float64Array, heap: Float64Array, at: number, picked: Picked): void {
  const { first, count, rowLength, heightPx, step } = picked;
  for (let y = 0; y < heightPx; y++) {
    const to = y * rowLength + first;
    let from = at + y;
    for (let k = 0; k < count; k++) {
      numbers[to + k] = heap[from]!;
      from += step;
    }
  }
}
