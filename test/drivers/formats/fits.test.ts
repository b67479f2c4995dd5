import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, describe, expect, test } from "vitest";
import { FitsFile } from "../../../drivers/formats/fits-file.ts";
import { FitsFileWriter } from "../../../drivers/formats/fits-file-writer.ts";
import { type FitsPixels, pixelTypeOf } from "../../../drivers/formats/fits-pixels.ts";
import { FitsError, readFits } from "../../../drivers/formats/fits-read.ts";
import { encodeFits, writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { Random } from "../../../drivers/kit/random.ts";

const folder = mkdtempSync(join(tmpdir(), "fits-"));
afterAll(() => rmSync(folder, { recursive: true }));

const writtenUtcMs = Date.UTC(2026, 6, 14, 10, 0, 0, 250);

function randomImages(seed: number): { pixels: FitsPixels; shape: number[] }[] {
  const random = new Random(seed);
  const shape = [1 + Math.floor(random.uniform() * 7), 1 + Math.floor(random.uniform() * 9)];
  const fill = <T extends FitsPixels>(pixels: T): T => {
    for (let i = 0; i < pixels.length; i++) pixels[i] = Math.floor(random.uniform() * 2 ** 32);
    return pixels;
  };
  const count = shape[0]! * shape[1]!;
  return [Uint8Array, Int16Array, Uint16Array, Int32Array, Uint32Array, Float32Array, Float64Array].map(
    (kind) => ({
      pixels: fill(new kind(count)),
      shape,
    }),
  );
}

describe("in memory", () => {
  test("every type and shape comes back as it was, at any alignment of the bytes", () => {
    for (let seed = 1; seed <= 40; seed++) {
      const images = randomImages(seed);
      const bytes = encodeFits(images, writtenUtcMs);
      expect(bytes.length % 2880).toBe(0);
      const shifted = new Uint8Array(bytes.length + 3);
      shifted.set(bytes, seed % 4);
      const hdus = readFits(shifted.subarray(seed % 4, (seed % 4) + bytes.length));
      expect(
        hdus.map(({ pixels, shape }) => ({ pixels, shape })),
        `seed ${seed}`,
      ).toEqual(images);
    }
  });

  test("a header without data, and its typed look-up", () => {
    const cards = [
      { keyword: "EXPTIME", value: 0.5, comment: "[s]" },
      { keyword: "OBJECT", value: "Sun" },
      { keyword: "HISTORY", value: "first" },
      { keyword: "GAIN", value: 1 },
      { keyword: "HISTORY", value: "second" },
      { keyword: "GAIN", value: 2 },
      { keyword: "CCD-TEMP", value: undefined },
    ];
    const [hdu] = readFits(encodeFits([{ cards }], writtenUtcMs));
    expect(hdu).toMatchObject({ shape: [], pixels: undefined });
    const { header } = hdu!;
    expect(header.number("EXPTIME")).toBe(0.5);
    expect(header.comment("EXPTIME")).toBe("[s]");
    expect(header.text("OBJECT")).toBe("Sun");
    expect(header.number("OBJECT")).toBeUndefined();
    expect(header.logical("SIMPLE")).toBe(true);
    expect(header.texts("HISTORY")).toEqual(["first", "second"]);
    expect(header.number("GAIN")).toBe(2); // the last of a repeated keyword counts, once
    expect(header.has("CCD-TEMP")).toBe(false);
    expect(header.text("DATE")).toBe("2026-07-14T10:00:00.250");
  });

  test("an old header can be handed on: what the writer decides is decided anew", () => {
    const [old] = readFits(encodeFits([{ pixels: new Uint16Array([1, 2]), shape: [1, 2] }], 0));
    const bytes = encodeFits(
      [{ pixels: new Float32Array(6), shape: [2, 3], cards: old!.header.cards }],
      writtenUtcMs,
    );
    const { header } = readFits(bytes)[0]!;
    expect(header.number("BITPIX")).toBe(-32);
    expect(header.has("BZERO")).toBe(false);
    expect(header.cards.filter((card) => card.keyword === "DATE")).toHaveLength(1);
  });

  test("scaled integers and BLANK become floating point, with NaN for no value", () => {
    const raw = encodeFits(
      [{ pixels: new Int16Array([0, 10, -99]), shape: [1, 3], cards: [{ keyword: "XX", value: 1 }] }],
      0,
    );
    const edit = (text: string) => {
      const bytes = raw.slice();
      const at = Buffer.from(bytes).indexOf("XX      =");
      bytes.set(Buffer.from(text.padEnd(160).slice(0, 80)), at);
      return readFits(bytes)[0]!.pixels;
    };
    expect(edit("BLANK   =                  -99")).toEqual(new Float32Array([0, 10, Number.NaN]));
    expect(edit("BSCALE  =                  0.5")).toEqual(new Float32Array([0, 5, -49.5]));
    expect(edit("BZERO   =                100.0")).toEqual(new Float32Array([100, 110, 1]));
  });

  test("a last block that is cut short after the last pixel is accepted", () => {
    const bytes = encodeFits([{ pixels: new Uint16Array([1, 2, 3]), shape: [1, 3] }], 0);
    expect(readFits(bytes.subarray(0, 2880 + 6))[0]?.pixels).toEqual(new Uint16Array([1, 2, 3]));
  });

  test("what is wrong with a file is said", () => {
    const bytes = encodeFits([{ pixels: new Uint16Array(5000), shape: [50, 100] }], 0);
    expect(() => readFits(bytes.subarray(0, 9000), "a.fits")).toThrow(
      "a.fits: HDU 0 should hold 10000 bytes of data and has 6120; the file is cut short",
    );
    expect(() => readFits(bytes.subarray(0, 800))).toThrow("header 0 has no END");
    expect(() => readFits(new TextEncoder().encode("GIF89a"))).toThrow("not a FITS file");
    expect(() => readFits(new Uint8Array(0))).toThrow("empty");
    const odd = Buffer.from(bytes);
    odd.write("BITPIX  =                   12", 80);
    expect(() => readFits(odd)).toThrow("BITPIX is 12");
  });

  test("pixels must fill their shape", () => {
    expect(() => encodeFits([{ pixels: new Uint8Array(5), shape: [2, 3] }], 0)).toThrow(RangeError);
  });
});

describe("in files", () => {
  test("written part by part in any order, the bytes are those of a file written at once", () => {
    for (let seed = 1; seed <= 10; seed++) {
      const images = randomImages(seed);
      const path = join(folder, `parts-${seed}.fits`);
      const plans = images.map(({ pixels, shape }) => ({ type: pixelTypeOf(pixels), shape }));
      using writer = new FitsFileWriter(path, plans, { writtenUtcMs, replace: false });
      for (const [index, { pixels, shape }] of images.entries()) {
        for (let row = shape[0]! - 1; row >= 0; row--) {
          writer.writePixels(index, row * shape[1]!, pixels.slice(row * shape[1]!, (row + 1) * shape[1]!));
        }
      }
      writer.finish();
      expect(Buffer.compare(readFileSync(path), encodeFits(images, writtenUtcMs)), `seed ${seed}`).toBe(0);
    }
  });

  test("read row by row as at once", () => {
    const images = randomImages(77);
    const path = join(folder, "rows.fits");
    writeFitsFile(
      path,
      images.map((image, index) => ({ ...image, name: `I${index}` })),
      { writtenUtcMs, replace: false },
    );
    using file = FitsFile.open(path);
    for (const [index, { pixels, shape }] of images.entries()) {
      const image = file.image(`i${index}`);
      expect(image.shape).toEqual(shape);
      for (let row = 0; row < shape[0]!; row++) {
        expect(image.readRows(row, 1)).toEqual(pixels.slice(row * shape[1]!, (row + 1) * shape[1]!));
      }
      expect(() => image.readRows(shape[0]!, 1)).toThrow(RangeError);
    }
    expect(() => file.image("other")).toThrow("holds no image named other");
  });

  test("a taken name is left alone, and nothing half written stays behind", () => {
    const path = join(folder, "taken.fits");
    writeFileSync(path, "mine");
    const hdus = [{ pixels: new Uint8Array([1]), shape: [1, 1] }];
    expect(() => writeFitsFile(path, hdus, { writtenUtcMs, replace: false })).toThrow("EEXIST");
    expect(readFileSync(path, "utf8")).toBe("mine");
    writeFitsFile(path, hdus, { writtenUtcMs, replace: true });
    expect(readFits(readFileSync(path))[0]?.pixels).toEqual(hdus[0]!.pixels);
    {
      using _dropped = new FitsFileWriter(join(folder, "never.fits"), [{ type: "uint8", shape: [1, 1] }], {
        writtenUtcMs,
        replace: false,
      });
    }
    expect(readdirSync(folder).filter((name) => name.includes("never") || name.endsWith(".part"))).toEqual(
      [],
    );
  });

  test("a file that is cut short or no FITS is refused when opened", () => {
    const path = join(folder, "cut.fits");
    writeFileSync(
      path,
      encodeFits([{ pixels: new Uint16Array(5000), shape: [50, 100] }], 0).subarray(0, 9000),
    );
    expect(() => FitsFile.open(path)).toThrow("cut short");
    writeFileSync(path, "hello");
    expect(() => FitsFile.open(path)).toThrow("not a FITS file");
    expect(() => FitsFile.open(join(folder, "none.fits"))).toThrow("ENOENT");
  });
});

test("whatever happens to the bytes, reading ends in pixels or in a FitsError", () => {
  const good = encodeFits(
    [
      { pixels: new Uint16Array(60), shape: [6, 10] },
      { pixels: new Float32Array(4), shape: [2, 2] },
    ],
    0,
  );
  for (let seed = 1; seed <= 400; seed++) {
    const random = new Random(seed);
    const bytes = good.slice(
      0,
      random.uniform() < 0.3 ? Math.floor(random.uniform() * good.length) : good.length,
    );
    for (let hits = 0; hits < 1 + random.uniform() * 8; hits++) {
      // Mostly in the first header's mandatory cards, where a changed digit matters.
      const at = Math.floor(random.uniform() * (random.uniform() < 0.8 ? 800 : bytes.length));
      if (at < bytes.length)
        bytes[at] = "0123456789 -'=TF/&\0"[Math.floor(random.uniform() * 19)]!.charCodeAt(0);
    }
    try {
      for (const hdu of readFits(bytes)) {
        const count = hdu.shape.reduce((product, length) => product * length, 1);
        if (hdu.pixels) expect(hdu.pixels.length, `seed ${seed}`).toBe(count);
      }
    } catch (error) {
      expect(error, `seed ${seed}`).toBeInstanceOf(FitsError);
    }
  }
});
