import type { MakeColumnTransform } from "../../agent/imaging/numerics/fft-columns.ts";
import { allocate, freeMemory } from "../../agent/imaging/numerics/fft-library.ts";

/** The library's own, one column after the other: what the compiled ones are held to. */
export const plainColumns: MakeColumnTransform = (library, { columnCount, heightPx, rowBytes }) => {
  const { pffft } = library;
  const setup = pffft._pffft_new_setup(heightPx, 1);
  const [column, work] = [allocate(library, 8 * heightPx), allocate(library, 8 * heightPx)];
  return {
    transform(rows, direction, factor) {
      const heap = pffft.HEAPF32;
      for (let x = 0; x < columnCount; x++) {
        const first = (rows >> 2) + 2 * x;
        for (let y = 0; y < heightPx; y++) {
          heap[(column >> 2) + 2 * y] = heap[first + y * (rowBytes >> 2)]!;
          heap[(column >> 2) + 2 * y + 1] = heap[first + y * (rowBytes >> 2) + 1]!;
        }
        pffft._pffft_transform_ordered(setup, column, column, work, direction);
        for (let y = 0; y < heightPx; y++) {
          heap[first + y * (rowBytes >> 2)] = heap[(column >> 2) + 2 * y]! * factor;
          heap[first + y * (rowBytes >> 2) + 1] = heap[(column >> 2) + 2 * y + 1]! * factor;
        }
      }
    },
    [Symbol.dispose]() {
      pffft._pffft_destroy_setup(setup);
      for (const address of [column, work]) freeMemory(library, address);
    },
  };
};
