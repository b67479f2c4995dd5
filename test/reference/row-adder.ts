import type { MakeRowAdder } from "../../agent/imaging/combining/block-sample.ts";

/** What the compiled one is held to. */
export const plainRowAdder: MakeRowAdder = (columns, widthPx, use) => {
  const room = new Float64Array(4 * columns);
  let frameAdu: Uint16Array = new Uint16Array(0);
  return {
    begin(frame) {
      frameAdu = frame;
    },
    add(startPx, sampledRow) {
      for (let x = 0; x < widthPx; x++)
        if (use[sampledRow * widthPx + x] === 1) room[x >> 3]! += frameAdu[startPx + x]!;
    },
    take(sums, at) {
      sums.set(room, at);
      room.fill(0);
    },
    [Symbol.dispose]() {},
  };
};
