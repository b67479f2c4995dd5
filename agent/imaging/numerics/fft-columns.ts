import { startKernel } from "../../../drivers/kit/kernels/host.ts";
import { allocate, type FftLibrary, freeMemory } from "./fft-library.ts";
import { fillInto } from "./map-into.ts";

/** Complex numbers, [heightPx, columnCount], real part first, rows `rowBytes` apart, with room for a multiple of 8 columns. */
export interface ColumnsShape {
  readonly columnCount: number;
  readonly heightPx: number;
  readonly rowBytes: number;
}

/** Fourier transforms of all columns, in place. */
export interface ColumnTransform extends Disposable {
  /**
   * @param rows where the first row lies in the library's memory
   * @param direction 0 forward, 1 backward
   * @param factor of the result
   */
  transform(rows: number, direction: 0 | 1, factor: number): void;
}

export type MakeColumnTransform = (library: FftLibrary, shape: ColumnsShape) => ColumnTransform;

/** By SIMD in WebAssembly, in the library's memory, sixteen columns at a time. */
export const makeColumnTransform: MakeColumnTransform = (library, { columnCount, heightPx, rowBytes }) => {
  const { memory } = library;
  const kernel = startKernel("fft-columns", memory);
  const between = radicesBetween(heightPx);
  const at = {
    radices: allocate(library, between.length + 1),
    turns: allocate(library, 8 * heightPx),
    forward: allocate(library, 4 * heightPx),
    backward: allocate(library, 4 * heightPx),
    work: allocate(library, 128 * heightPx + 4352),
  };
  const { buffer } = memory; // complete by now: it is another one after each growth
  new Uint8Array(buffer, at.radices, between.length + 1).set([...between, 0]);
  const turns = new Float32Array(buffer, at.turns, 2 * heightPx);
  const [forward, backward] = [at.forward, at.backward].map((a) => new Uint32Array(buffer, a, heightPx));
  const wave = waveOfPlace([4, ...between, 4], heightPx);
  for (let k = 0; k < heightPx; k++) {
    turns[2 * k] = Math.cos((2 * Math.PI * k) / heightPx);
    turns[2 * k + 1] = -Math.sin((2 * Math.PI * k) / heightPx);
    forward![k] = wave[k]! * rowBytes;
    // A backward transform is a forward one whose waves run the other way.
    backward![k] = ((heightPx - wave[k]!) % heightPx) * rowBytes;
  }
  return {
    transform(rows, direction, factor) {
      kernel.transformColumns({
        rows,
        rowStep: rowBytes,
        height: heightPx,
        columns: columnCount,
        radices: at.radices,
        turnsAt: at.turns,
        places: direction === 0 ? at.forward : at.backward,
        work: at.work,
        factor,
      });
    },
    [Symbol.dispose]() {
      for (const address of Object.values(at)) freeMemory(library, address);
    },
  };
};

/** Between a first pass of 4 and a last one of 4. */
function radicesBetween(length: number): number[] {
  let rest = length / 16;
  const radices: number[] = [];
  for (const radix of [4, 2, 3, 5]) {
    for (; rest % radix === 0; rest /= radix) radices.push(radix);
  }
  if (rest !== 1) throw new RangeError(`${length} is no length that can be transformed`);
  return radices;
}

/** Which wave each number is behind the last pass: each pass sorts by another digit, the lowest one first. */
function waveOfPlace(radices: readonly number[], length: number): Uint32Array {
  return fillInto(new Uint32Array(length), (place) => {
    let [wave, weight, rest, block] = [0, 1, place, length];
    for (const radix of radices) {
      block /= radix;
      wave += weight * Math.floor(rest / block);
      rest %= block;
      weight *= radix;
    }
    return wave;
  });
}
