import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { ccdHdus } from "../../drivers/formats/ccd-image.ts";
import type { Card } from "../../drivers/formats/fits-card.ts";
import { addSums, checksumText, complementOf, sumOfBytes } from "../../drivers/formats/fits-checksum.ts";
import { FitsFileWriter } from "../../drivers/formats/fits-file-writer.ts";
import type { FitsPixels } from "../../drivers/formats/fits-pixels.ts";
import { readFits } from "../../drivers/formats/fits-read.ts";
import { encodeFits, writeFitsFile } from "../../drivers/formats/fits-write.ts";
import { Random } from "../../drivers/kit/random.ts";
import { check } from "./check.ts";
import { fitsverify, runPython } from "./python.ts";

const folder = mkdtempSync(join(tmpdir(), "fits-outside-"));
afterAll(() => rmSync(folder, { recursive: true }));
const writtenUtcMs = Date.UTC(2026, 6, 14, 10);

test("published checksum: 868229149 is written as hcHjjc9ghcEghc9g", () => {
  for (const id of ["fits.checksum.encode", "fits.checksum.zero"]) {
    const one = check(id);
    const { hduSum } = one.inputs;
    one.agrees("ascii", checksumText(hduSum));
    if (one.expected.complement !== undefined) one.agrees("complement", complementOf(hduSum));
  }
});

test("data sums that astropy and fitsverify agree with", () => {
  const dataSum = (pixels: FitsPixels) => readFits(encodeFits([{ pixels }], 0))[0]!.header.text("DATASUM");
  const u16 = check("fits.datasum.u16");
  const bytes = encodeFits([{ pixels: Uint16Array.from(u16.inputs.uint16.flat()), shape: [2, 2] }], 0);
  u16.agrees("bytesHex", Buffer.from(bytes.subarray(2880, 2888)).toString("hex"));
  u16.agrees("datasum", dataSum(Uint16Array.from(u16.inputs.uint16.flat())));
  const f32 = check("fits.datasum.f32");
  f32.agrees("datasum", dataSum(Float32Array.from(f32.inputs.float32)));
  const i16 = check("fits.datasum.i16");
  i16.agrees("datasum", dataSum(Int16Array.from(i16.inputs.int16)));
});

test("the checksum of a whole HDU, card by card", () => {
  const one = check("fits.checksum.hdu");
  const header = Buffer.alloc(2880, " ");
  header.write(one.inputs.cards.map((card: string) => card.padEnd(80)).join(""));
  const data = new Uint8Array(2880);
  data.set(Buffer.from(check("fits.datasum.u16").expected.bytesHex, "hex"));
  const sum = addSums(sumOfBytes(header), sumOfBytes(data));
  one.agrees("hduSumWithZeroChecksum", sum);
  one.agrees("checksum", checksumText(sum));
});

/** Characters that a header may hold; quotes, slashes and ampersands more often than by chance. */
function randomText(random: Random, length: number): string {
  const special = "''//&& ";
  return Array.from({ length }, () =>
    random.uniform() < 0.2
      ? special[Math.floor(random.uniform() * special.length)]!
      : String.fromCharCode(0x20 + Math.floor(random.uniform() * 95)),
  ).join("");
}

/** Without quotes: astropy 5.2 takes them for the end of a string over several cards, in its own files too. */
function longText(random: Random): string {
  return randomText(random, Math.floor(random.uniform() * 200))
    .replaceAll("'", "-")
    .trim();
}

/** Without a quote before a slash, which astropy 5.2 takes for the start of the comment. */
function shortText(random: Random): string {
  return randomText(random, Math.floor(random.uniform() * 12))
    .replaceAll(/'( *\/)/g, "-$1")
    .trim();
}

function randomCards(random: Random): Card[] {
  return Array.from({ length: 60 }, (_, index): Card => {
    const keyword = `K${index}`;
    const comment = randomText(random, Math.floor(random.uniform() * 40)).trim();
    const note = comment === "" ? {} : { comment };
    switch (Math.floor(random.uniform() * 6)) {
      case 0:
        return { keyword, value: Math.floor(random.gauss() * 1e9), ...note };
      case 1:
        return {
          keyword,
          value: random.gauss() * 10 ** (Math.floor(random.uniform() * 500) - 250),
          comment: "real",
        };
      case 2:
        return { keyword, value: random.uniform() < 0.5, ...note };
      case 3:
        return { keyword: "HISTORY", value: randomText(random, Math.floor(random.uniform() * 70)).trimEnd() };
      case 4:
        return { keyword, value: longText(random), comment: comment.replaceAll("'", "-") };
      default:
        return { keyword, value: shortText(random), comment: comment.slice(0, 25).trim() };
    }
  });
}

function randomPixels(random: Random, count: number): FitsPixels[] {
  const fill = <T extends FitsPixels>(pixels: T, next: () => number): T => {
    for (let i = 0; i < pixels.length; i++) pixels[i] = next();
    return pixels;
  };
  const whole = () => Math.floor(random.uniform() * 2 ** 32);
  const real = () => random.gauss() * 10 ** Math.floor(random.uniform() * 30 - 15);
  return [
    ...[Uint8Array, Int16Array, Uint16Array, Int32Array, Uint32Array].map((kind) =>
      fill(new kind(count), whole),
    ),
    ...[Float32Array, Float64Array].map((kind) => fill(new kind(count), real)),
  ];
}

const readBack = `
import json, sys, warnings
warnings.simplefilter("error")
import numpy as np
from astropy.io import fits
result = []
for path in sys.argv[1:]:
    with fits.open(path, checksum=True) as hdus:
        hdus.verify("exception")
        result.append([{
            "cards": [[c.keyword, c.value, c.comment] for c in h.header.cards],
            "type": None if h.data is None else h.data.dtype.newbyteorder("=").name,
            "shape": None if h.data is None else list(h.data.shape),
            "hex": None if h.data is None else h.data.astype(h.data.dtype.newbyteorder("<")).tobytes().hex(),
        } for h in hdus])
print(json.dumps(result))
`;

test("astropy reads every card and every pixel back, fitsverify has nothing to say", () => {
  const seeds = Array.from({ length: 25 }, (_, index) => 20260714 + index);
  const made = seeds.map((seed) => {
    const random = new Random(seed);
    const shape = [1 + Math.floor(random.uniform() * 20), 1 + Math.floor(random.uniform() * 20)];
    const hdus = randomPixels(random, shape[0]! * shape[1]!).map((pixels) => ({
      pixels,
      shape,
      cards: randomCards(random),
    }));
    const path = join(folder, `random-${seed}.fits`);
    writeFitsFile(path, hdus, { writtenUtcMs, replace: false });
    return { seed, path, hdus };
  });
  for (const { seed, path } of made)
    expect(fitsverify([path]), `seed ${seed}`).toEqual({ clean: true, text: "" });
  const read = runPython(
    readBack,
    made.map(({ path }) => path),
  );
  for (const [fileIndex, { seed, hdus }] of made.entries()) {
    for (const [index, hdu] of hdus.entries()) {
      const back = read[fileIndex][index];
      const { pixels } = hdu;
      expect(back.shape, `seed ${seed}`).toEqual(hdu.shape);
      expect(back.type, `seed ${seed}`).toBe(pixels.constructor.name.replace("Array", "").toLowerCase());
      const bytes = Buffer.from(pixels.buffer, pixels.byteOffset, pixels.byteLength);
      expect(back.hex, `seed ${seed}`).toBe(bytes.toString("hex"));
      const theirs = back.cards.filter(([keyword]: [string]) => /^K\d+$|^HISTORY$/.test(keyword));
      const ours = hdu.cards.map(({ keyword, value, comment }) => [keyword, value, comment ?? ""]);
      expect(theirs, `seed ${seed}, HDU ${index}`).toEqual(ours);
    }
  }
});

test("what the writers make of every kind passes fitsverify: bare header, long strings, wrapped history, parts", () => {
  const note = {
    keyword: "NOTE",
    value: "it's long ".repeat(30),
    comment: "and has a comment that finds no room beside it ".repeat(3),
  };
  const paths = [
    [],
    [note],
    [{ keyword: "CCD-TEMP", value: undefined }],
    [{ keyword: "HISTORY", value: "x".repeat(500) }],
  ].map((cards, index) => {
    const path = join(folder, `kind-${index}.fits`);
    writeFitsFile(path, [{ cards }, { pixels: new Uint8Array(7), shape: [1, 7], name: "MASK", cards }], {
      writtenUtcMs,
      replace: false,
    });
    return path;
  });
  const parts = join(folder, "parts.fits");
  {
    using writer = new FitsFileWriter(parts, [{ type: "uint16", shape: [3, 5], cards: [note] }], {
      writtenUtcMs,
      replace: false,
    });
    for (const row of [2, 0, 1])
      writer.writePixels(
        0,
        row * 5,
        Uint16Array.from({ length: 5 }, (_, x) => row * 5 + x),
      );
    writer.finish();
  }
  for (const path of [...paths, parts]) expect(fitsverify([path])).toEqual({ clean: true, text: "" });
  expect(runPython(readBack, [parts])[0][0].hex).toBe(
    Buffer.from(Uint16Array.from({ length: 15 }, (_, i) => i).buffer).toString("hex"),
  );
});

test("CCDData.read takes data, sigma and mask without arguments, and ccdproc divides by it as it is", () => {
  const path = join(folder, "master.fits");
  const [widthPx, heightPx] = [5, 4];
  const random = new Random(7);
  const data = Float32Array.from({ length: 20 }, () => 1 + 0.1 * random.gauss());
  const sigma = Float32Array.from({ length: 20 }, () => 0.001 * (1 + random.uniform()));
  const mask = Uint8Array.from({ length: 20 }, (_, i) => (i % 7 === 3 ? 3 : 0));
  writeFitsFile(path, ccdHdus({ widthPx, heightPx, data, sigma, mask }, { unit: "", cards: [] }), {
    writtenUtcMs,
    replace: false,
  });
  expect(fitsverify([path])).toEqual({ clean: true, text: "" });
  const read = runPython(
    `
import json, sys, warnings
warnings.simplefilter("error")
import numpy as np, ccdproc
from astropy.nddata import CCDData
flat = CCDData.read(sys.argv[1])
image = CCDData(np.full(flat.shape, 1000.0), unit="adu")
flat_fielded = ccdproc.flat_correct(image, flat)
print(json.dumps({
  "unit": str(flat.unit), "kind": type(flat.uncertainty).__name__,
  "data": flat.data.tolist(), "sigma": flat.uncertainty.array.tolist(), "mask": flat.mask.astype(int).tolist(),
  "divided": flat_fielded.data.tolist(), "dividedMask": flat_fielded.mask.astype(int).tolist(), "dividedUnit": str(flat_fielded.unit),
}))`,
    [path],
  );
  expect(read).toMatchObject({ unit: "", kind: "StdDevUncertainty", dividedUnit: "adu" });
  expect(Float32Array.from(read.data.flat())).toEqual(data);
  expect(Float32Array.from(read.sigma.flat())).toEqual(sigma);
  const wantedMask = [...mask].map((bits) => (bits === 0 ? 0 : 1));
  expect(read.mask.flat()).toEqual(wantedMask);
  expect(read.dividedMask.flat()).toEqual(wantedMask);
  const mean = data.reduce((sum, value) => sum + value, 0) / 20;
  for (const [i, value] of read.divided.flat().entries())
    expect(value).toBeCloseTo((1000 * mean) / data[i]!, 2);
});

test("files that astropy writes are read as it reads them: all types, scales, BLANK, long strings", () => {
  const listed = runPython(
    `
import json, sys, warnings
import numpy as np
from astropy.io import fits
folder = sys.argv[1]
rng = np.random.default_rng(5)
result = []
def put(name, hdu, values, **header):
    for k, v in header.items(): hdu.header[k] = v
    path = f"{folder}/{name}.fits"
    hdu.writeto(path, overwrite=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with fits.open(path) as hdus:
            data = hdus[0].data if values is None else values
            result.append({"path": path, "shape": list(data.shape), "type": data.dtype.name,
                "values": [None if v != v else v for v in np.asarray(data).ravel().tolist()],
                "cards": [[c.keyword, c.value, c.comment] for c in hdus[0].header.cards if c.keyword.startswith("TEST")]})
for kind in ("uint8", "int16", "uint16", "int32", "uint32", "float32", "float64"):
    values = rng.integers(0, 2**31 - 1, (7, 5)).astype(kind) if "int" in kind else rng.normal(size=(7, 5)).astype(kind)
    put(kind, fits.PrimaryHDU(values), values)
cube = rng.integers(0, 255, (2, 3, 4)).astype("uint8")
put("cube", fits.PrimaryHDU(cube), cube)
put("text", fits.PrimaryHDU(np.zeros((1, 1), "uint8")), None, TESTLONG=("a / long one & more " * 12).strip(),
    TESTSTR=("it's me", "who / what"), TESTINT=(-12345678901, "big"), TESTREAL=1.25e-30, TESTBOOL=True)
path = f"{folder}/scaled.fits"
raw = rng.integers(-300, 300, (4, 6)).astype("int16")
fits.PrimaryHDU(raw).writeto(path, overwrite=True)
with open(path, "r+b") as f:
    head = f.read(2880)
    end = head.index(b"END" + b" " * 77)
    extra = b"".join(c.ljust(80) for c in (b"BSCALE  =                 0.25", b"BZERO   =               1000.5", b"BLANK   = %20d" % raw[1, 2], b"END"))
    f.seek(end); f.write(extra)
with fits.open(path) as hdus:
    data = hdus[0].data
    result.append({"path": path, "shape": list(data.shape), "type": data.dtype.name, "cards": [],
        "values": [None if v != v else v for v in data.ravel().tolist()]})
print(json.dumps(result))`,
    [folder],
  );
  expect(listed).toHaveLength(10);
  for (const { path, shape, type, values, cards } of listed) {
    const [hdu] = readFits(readFileSync(path), path);
    expect(hdu!.shape, path).toEqual(shape);
    expect(hdu!.pixels!.constructor.name.replace("Array", "").toLowerCase(), path).toBe(type);
    expect(
      [...hdu!.pixels!].map((value) => (Number.isNaN(value) ? null : value)),
      path,
    ).toEqual(values);
    for (const [keyword, value, comment] of cards) {
      expect(Number(hdu!.header.value(keyword)) || hdu!.header.value(keyword), keyword).toEqual(
        Number(value) || value,
      );
      expect(hdu!.header.comment(keyword) ?? "", keyword).toBe(comment);
    }
  }
});
