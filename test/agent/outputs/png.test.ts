import { decode } from "fast-png";
import { expect, test } from "vitest";
import { encodePng } from "../../../agent/outputs/png.ts";
import { percentileRange, toGrey } from "../../../agent/outputs/stretch.ts";
import { Random } from "../../../drivers/kit/random.ts";

test("grey and colour pictures are decoded by another library as they were", () => {
  for (let seed = 1; seed <= 20; seed++) {
    const random = new Random(seed);
    const [widthPx, heightPx] = [
      1 + Math.floor(random.uniform() * 40),
      1 + Math.floor(random.uniform() * 40),
    ];
    for (const channels of [1, 3]) {
      const bytes = Uint8Array.from({ length: widthPx * heightPx * channels }, () => random.uniform() * 256);
      const back = decode(encodePng({ widthPx, heightPx, bytes }), { checkCrc: true });
      expect(back, `seed ${seed}`).toMatchObject({ width: widthPx, height: heightPx, channels, depth: 8 });
      expect(Uint8Array.from(back.data), `seed ${seed}`).toEqual(bytes);
    }
  }
});

test("bytes that fill no picture are refused", () => {
  expect(() => encodePng({ widthPx: 2, heightPx: 2, bytes: new Uint8Array(5) })).toThrow(RangeError);
  expect(() => encodePng({ widthPx: 0, heightPx: 0, bytes: new Uint8Array(0) })).toThrow(RangeError);
});

test("the stretch spreads the middle of the levels and does not mind one hot pixel or a missing one", () => {
  const pixels = Float32Array.from({ length: 10_001 }, (_, i) => 1000 + i / 10);
  pixels[0] = 1e9;
  pixels[1] = Number.NaN;
  const range = percentileRange(pixels, { blackFraction: 0.01, whiteFraction: 0.01 })!;
  expect(range.black).toBeCloseTo(1010, 0);
  expect(range.white).toBeCloseTo(1990, 0);
  const grey = toGrey(pixels, range);
  expect([grey[0], grey[1], grey[2], grey[10_000]]).toEqual([255, 0, 0, 255]);
  expect(Math.abs(grey[5000]! - 127.5)).toBeLessThan(1.5);
});

test("codes and real numbers are stretched alike", () => {
  const codes = Uint16Array.from({ length: 65536 }, (_, i) => i);
  const range = { black: 1000, white: 50_000 };
  expect(toGrey(codes, range)).toEqual(toGrey(Float32Array.from(codes), range));
});

test("a picture of one level, or of none", () => {
  expect(percentileRange(new Float32Array([Number.NaN]))).toBeUndefined();
  const flat = new Uint16Array([7, 7, 7]);
  expect([...toGrey(flat, percentileRange(flat)!)]).toEqual([0, 0, 0]);
});
