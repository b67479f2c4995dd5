import { expect, test } from "vitest";
import { skyOverlay } from "../../../../agent/outputs/pictures/sky-overlay.ts";

const sky = { pxPerArcsec: [1, 0, 0, 1], arcsecPerPx: 1 } as const;
const shape = { widthPx: 1000, heightPx: 750 };

function moveOf(svg: string): number[] {
  const [, x, y] = /transform="translate\((\S+) (\S+)\)"/.exec(svg)!;
  return [Number(x), Number(y)];
}

test("north, east and the scale stand in the lower left corner, and in another where a ringed shadow lies there", () => {
  expect(moveOf(skyOverlay(sky, shape, []))).toEqual([0, 0]);
  const lowerLeft = { xPx: 100, yPx: 700, diameterPx: 40 };
  expect(moveOf(skyOverlay(sky, shape, [lowerLeft]))).toEqual([560, 0]);
  const beside = { xPx: 570, yPx: 500, diameterPx: 80 }; // in the other corner's box, and under nothing that is drawn
  expect(moveOf(skyOverlay(sky, shape, [lowerLeft, beside]))).toEqual([560, 0]);
  const lowerRight = { xPx: 640, yPx: 540, diameterPx: 80 };
  expect(moveOf(skyOverlay(sky, shape, [lowerLeft, lowerRight]))).toEqual([0, -520]);
});

test("where every corner has shadows, the one with the fewest is taken", () => {
  const corners = [
    [50, 700],
    [950, 700],
    [50, 50],
    [950, 50],
  ] as const;
  const marks = corners.flatMap(([xPx, yPx], k) =>
    Array.from({ length: 5 - k }, () => ({ xPx, yPx, diameterPx: 30 })),
  );
  expect(moveOf(skyOverlay(sky, shape, marks))).toEqual([560, -520]);
});
