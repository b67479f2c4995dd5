import type { MakeFrameSums } from "../../agent/imaging/combining/frame-sums.ts";

/** What the compiled ones are held to. */
export const plainFrameSums: MakeFrameSums = (pxCount) => {
  const sums = new Uint32Array(pxCount);
  return {
    sums,
    add: (frames) =>
      frames.map((pixels) => {
        let total = 0;
        for (let i = 0; i < pxCount; i++) {
          sums[i]! += pixels[i]!;
          total += pixels[i]!;
        }
        return total;
      }),
    [Symbol.dispose]() {},
  };
};
