import { expect, test } from "vitest";
import { blockLevels, hasLimbEntered } from "../../../../../agent/imaging/displaced/drift/limb-entered.ts";

const shape = { widthPx: 160, heightPx: 120 };
const pedestalAdu = 500;

/** Vignetted, on a disc of 300 px radius whose centre lies at x, with a spot of 8 px in the middle. */
function frame(discX: number): Uint16Array {
  const pixels = new Uint16Array(160 * 120);
  for (let y = 0; y < 120; y++) {
    for (let x = 0; x < 160; x++) {
      const gain = 1 - 0.3 * (((x - 80) / 100) ** 2 + ((y - 60) / 100) ** 2);
      const square = (Math.hypot(x - discX, y - 60) / 300) ** 2;
      const sun = square < 1 ? 0.4 + 0.6 * Math.sqrt(1 - square) : 0;
      const spot = Math.hypot(x - 80, y - 60) < 8 ? 0.2 : 1;
      pixels[y * 160 + x] = pedestalAdu + 30_000 * gain * sun * spot;
    }
  }
  return pixels;
}

test("the limb in a corner is seen, limb darkening and a spot are not taken for it", () => {
  const atCentre = blockLevels(frame(80), shape, pedestalAdu);
  const at = (discX: number) => hasLimbEntered(blockLevels(frame(discX), shape, pedestalAdu), atCentre);
  expect(at(80)).toBe(false);
  expect(at(80 + 60)).toBe(false);
  expect(at(80 - 60)).toBe(false);
  expect(at(80 + 235)).toBe(true);
  expect(at(80 - 235)).toBe(true);
});

test("half the light all over is no limb", () => {
  const bright = frame(80);
  const dim = bright.map((code) => pedestalAdu + (code - pedestalAdu) / 2);
  const atCentre = blockLevels(bright, shape, pedestalAdu);
  expect(hasLimbEntered(blockLevels(dim, shape, pedestalAdu), atCentre)).toBe(false);
});
