import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, describe, expect, test } from "vitest";
import { byteOrderOfFlag, utcMsOfTicks } from "../../../drivers/formats/ser.ts";
import { byteOrderOfPicture } from "../../../drivers/formats/ser-byte-order.ts";
import { SerFile } from "../../../drivers/formats/ser-file.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { type SerToWrite, serBytes, ticksOf } from "./ser-bytes.ts";

const folder = mkdtempSync(join(tmpdir(), "ser-"));
afterAll(() => rmSync(folder, { recursive: true }));

const [widthPx, heightPx] = [40, 30];
const random = new Random(20260714);

/** A disc with a darkened limb on a dark sky, with noise, in counts up to `level`. */
function disc(level: number, noise = level / 200): number[] {
  return Array.from({ length: widthPx * heightPx }, (_, i) => {
    const r = Math.hypot((i % widthPx) - 18, Math.floor(i / widthPx) - 14) / 13;
    const light = r < 1 ? level * (0.4 + 0.5 * Math.sqrt(1 - r * r)) : level / 50;
    return Math.max(0, Math.round(light + noise * random.gauss()));
  });
}

function write(name: string, ser: Omit<SerToWrite, "widthPx" | "heightPx">, cutBytes = 0): string {
  const bytes = serBytes({ widthPx, heightPx, ...ser });
  writeFileSync(join(folder, name), bytes.subarray(0, bytes.length - cutBytes));
  return join(folder, name);
}

function framesOf(ser: SerFile): number[][] {
  return Array.from({ length: ser.frameCount }, (_, index) => {
    const raw = new Uint8Array(ser.frameBytes);
    ser.readRaw(index, raw);
    return [...ser.decode(raw)];
  });
}

describe.each([
  { depthBits: 8, pixels: "little" },
  { depthBits: 12, pixels: "little" },
  { depthBits: 16, pixels: "little" },
  { depthBits: 16, pixels: "big" },
] as const)("$depthBits bits, $pixels-endian", ({ depthBits, pixels }) => {
  test("frames, times and names are read back", () => {
    const frames = [1, 2, 3].map(() => disc(0.9 * 2 ** depthBits));
    const stampsTicks = [0, 40, 81].map((ms) => ticksOf(Date.UTC(2026, 6, 14, 10) + ms));
    const name = `${depthBits}-${pixels}.ser`;
    using ser = SerFile.open(write(name, { depthBits, pixels, frames, stampsTicks, observer: "A. Person" }));
    expect(ser.header).toMatchObject({ widthPx, heightPx, depthBits, frameCount: 3, observer: "A. Person" });
    expect(framesOf(ser)).toEqual(frames);
    expect(ser.stampsTicks()).toEqual(BigInt64Array.from(stampsTicks));
    expect(utcMsOfTicks(ser.stampsTicks()![1]!)).toBe(Date.UTC(2026, 6, 14, 10) + 40);
  });
});

test("where the header's flag contradicts the picture, the picture is believed", () => {
  for (const pixels of ["little", "big"] as const) {
    const frames = [disc(50_000)];
    const flag = pixels === "little" ? 1 : 0;
    expect(byteOrderOfFlag(flag)).not.toBe(pixels);
    using ser = SerFile.open(write("flag.ser", { depthBits: 16, pixels, flag, frames }));
    expect(ser.byteOrder).toBe(pixels);
    expect(framesOf(ser)).toEqual(frames);
  }
});

test("a picture tells nothing where one byte is constant or all is noise; the flag counts then", () => {
  const counts = {
    "a bias": Array.from({ length: widthPx * heightPx }, () => Math.round(20 + 3 * random.gauss())),
    "8 bits stored high": disc(250).map((count) => 256 * count),
    "noise of all bits": Array.from({ length: widthPx * heightPx }, () =>
      Math.floor(65536 * random.uniform()),
    ),
    constant: Array.from({ length: widthPx * heightPx }, () => 258),
  };
  for (const [what, frame] of Object.entries(counts)) {
    const bytes = serBytes({ widthPx, heightPx, depthBits: 16, frames: [frame] }).subarray(178);
    expect(byteOrderOfPicture(bytes, widthPx), what).toBeUndefined();
    using ser = SerFile.open(write("plain.ser", { depthBits: 16, pixels: "big", frames: [frame] }));
    expect(framesOf(ser)).toEqual([frame]);
  }
});

test("of a recording that was broken off the whole frames count, and no time is made up", () => {
  const frames = [disc(200), disc(200), disc(200)];
  const stampsTicks = [1n, 2n, 3n];
  using short = SerFile.open(write("short.ser", { depthBits: 8, frames }, 100));
  expect([short.frameCount, short.header.frameCount]).toEqual([2, 3]);
  expect(short.stampsTicks()).toBeUndefined();
  using uncounted = SerFile.open(write("uncounted.ser", { depthBits: 8, frames, frameCount: 0 }));
  expect(framesOf(uncounted)).toEqual(frames);
  using halfTrailer = SerFile.open(write("half.ser", { depthBits: 8, frames, stampsTicks }, 4));
  expect(halfTrailer.frameCount).toBe(3);
  expect(halfTrailer.stampsTicks()).toBeUndefined();
});

test("what is no SER of one value a pixel is refused in words", () => {
  const frames = [disc(200)];
  const open = (path: string) => () => SerFile.open(path);
  using filtered = SerFile.open(write("bayer.ser", { depthBits: 8, frames, colourId: 9 }));
  expect([filtered.header.colour, filtered.header.filterPattern]).toEqual(["colour filter array", "GRBG"]);
  expect(open(write("rgb.ser", { depthBits: 8, frames, colourId: 100 }))).toThrow(/three colours.*only mono/);
  expect(open(write("odd.ser", { depthBits: 8, frames, colourId: 7 }))).toThrow(/not known/);
  expect(open(write("deep.ser", { depthBits: 32, frames: [] }))).toThrow(/32 bits/);
  expect(open(write("empty.ser", { depthBits: 8, frames: [] }))).toThrow(/no whole frame/);
  writeFileSync(join(folder, "text.ser"), "hello");
  expect(open(join(folder, "text.ser"))).toThrow(/shorter than its header/);
});

test("ticks that say nothing give no time", () => {
  expect(utcMsOfTicks(0n)).toBeUndefined();
  expect(utcMsOfTicks(-5n)).toBeUndefined();
  expect(utcMsOfTicks(ticksOf(Date.UTC(2000, 0, 1)))).toBe(Date.UTC(2000, 0, 1));
});
