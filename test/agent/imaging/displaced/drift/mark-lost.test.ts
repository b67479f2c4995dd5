import { expect, test } from "vitest";
import { maskBits } from "../../../../../agent/imaging/combining/mask-bits.ts";
import { maskUnsolvedPixels } from "../../../../../agent/imaging/displaced/drift/mark-lost.ts";

test("each pixel without a solution says why: known from darks, clipped, blind among others that see, or dark corner", () => {
  const shape = { widthPx: 20, heightPx: 10 };
  const mask = new Uint8Array(200);
  const clippedIn = new Uint16Array(200);
  const unhealthyPx = new Uint8Array(200);
  for (let y = 0; y < 10; y++) for (let x = 0; x < 6; x++) mask[y * 20 + x] = maskBits.unlit;
  const [known, blind, clipped, clippedOnce] = [5 * 20 + 10, 3 * 20 + 15, 7 * 20 + 12, 8 * 20 + 17];
  mask[known] = mask[blind] = mask[clipped] = maskBits.unlit;
  unhealthyPx[known] = 1;
  clippedIn[clipped] = 40;
  clippedIn[clippedOnce] = 1;
  const fraction = maskUnsolvedPixels(mask, shape, { frameCount: 40, clippedIn, unhealthyPx });
  expect(fraction).toBeCloseTo(1 / 199, 12);
  expect(mask[known]).toBe(maskBits.unhealthy);
  expect(mask[blind]).toBe(maskBits.unhealthy);
  expect(mask[clipped]).toBe(maskBits.clipped);
  expect(mask[clippedOnce]).toBe(0);
  expect(mask[5 * 20 + 2]).toBe(maskBits.unlit);
});
