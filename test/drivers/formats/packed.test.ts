import { mkdtempSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { gzipSync } from "node:zlib";
import { afterAll, expect, test } from "vitest";
import { FitsFile } from "../../../drivers/formats/fits-file.ts";
import { encodeFits } from "../../../drivers/formats/fits-write.ts";
import { hcompressValues } from "../../../drivers/formats/tiled/hcompress.ts";
import { plioValues } from "../../../drivers/formats/tiled/plio.ts";
import { riceValues } from "../../../drivers/formats/tiled/rice.ts";

const folder = mkdtempSync(join(tmpdir(), "packed-"));
const scratch = mkdtempSync(join(tmpdir(), "packed-scratch-"));
const before = process.env.TMPDIR;
process.env.TMPDIR = scratch;
afterAll(() => {
  if (before === undefined) delete process.env.TMPDIR;
  else process.env.TMPDIR = before;
  rmSync(folder, { recursive: true });
  rmSync(scratch, { recursive: true });
});

const bytes = (hex: string) => new Uint8Array(Buffer.from(hex, "hex"));

// Tiles that astropy packed, of values that were drawn.
const rice = "023098004c71556a88ca5980";
const lineList = "00000007ff9c000e0000000000002002400260016001700460040001";
const wave =
  "dd9900000005000000070000000000000000000009a00b090af63f88ff9940989005799f37c054440638801884f0bfef37fb69ff1e" +
  "bf8f7f4ba0c0901948012091ff00301405e80b82502d86b0377fdee3d1f47d507402d06104d02400d000d34070a780";

test("tiles packed by another program come out as they went in", () => {
  expect([...riceValues(bytes(rice), 7, { bytesPerValue: 2, blockPx: 32 })]).toEqual([
    560, 23, 92, 135, 94, 552, 603,
  ]);
  const words = new DataView(bytes(lineList).buffer);
  const list = Int16Array.from({ length: words.byteLength / 2 }, (_, k) => words.getInt16(2 * k));
  expect([...plioValues(list, 7)]).toEqual([3, 3, 4, 5, 1, 5, 0]);
  expect([...hcompressValues(bytes(wave), 35)]).toEqual([
    ...[207, 218, 31, 56, 148, 273, 53, 263, 230, 17, 100, 316, 322, 232, -88, 244, 20, 311, 357, 120, 378],
    ...[281, 69, 340, 98, -40, 200, 326, 231, 103, 352, 145, 98, -19, 14],
  ]);
});

test("a tile that ends too early is said to be damaged, not filled up", () => {
  expect(() => riceValues(bytes(rice.slice(0, 14)), 7, { bytesPerValue: 2, blockPx: 32 })).toThrow(
    RangeError,
  );
  expect(() => hcompressValues(bytes(wave.slice(0, 120)), 35)).toThrow(RangeError);
});

test("a gzip file is read as what it holds, in two members too; what was unpacked goes when it is closed", () => {
  const pixels = Uint16Array.from({ length: 6000 }, (_, i) => (i * 7919) % 65_536);
  const whole = encodeFits([{ pixels, shape: [60, 100] }], 0);
  const path = join(folder, "sun.fits.gz");
  for (const packed of [
    gzipSync(whole),
    Buffer.concat([gzipSync(whole.subarray(0, 5000)), gzipSync(whole.subarray(5000))]),
  ]) {
    writeFileSync(path, packed);
    using file = FitsFile.open(path);
    expect(file.image().readRows(0, 60)).toEqual(pixels);
  }
  expect(readdirSync(scratch)).toEqual([]);
});

test("a gzip file that is cut short or damaged is refused, and leaves nothing behind", () => {
  const pixels = Uint16Array.from({ length: 6000 }, (_, i) => (i * 7919) % 65_536);
  const whole = gzipSync(encodeFits([{ pixels, shape: [60, 100] }], 0));
  const cut = join(folder, "cut.fits.gz");
  writeFileSync(cut, whole.subarray(0, whole.length - 40));
  expect(() => FitsFile.open(cut)).toThrow(/cut short|damaged/);
  const torn = join(folder, "torn.fits.gz");
  writeFileSync(torn, whole.fill(0xff, 40, 60));
  expect(() => FitsFile.open(torn)).toThrow(/cut short|damaged/);
  expect(readdirSync(scratch)).toEqual([]);
});
