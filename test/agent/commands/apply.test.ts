import { readFileSync, statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { registerApply } from "../../../agent/commands/apply.ts";
import { ccdHdus } from "../../../drivers/formats/ccd-image.ts";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import { readFits } from "../../../drivers/formats/fits-read.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { evenfield } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

const apply = (args: readonly string[]) => evenfield(registerApply, ["apply", "--despite-dark", ...args]);

/** A flat of the rig's own pattern, with one pixel that is not to be trusted. */
function writeFlat(sky: SkyFiles, name: string, scale: number, cards: readonly Card[] = []): string {
  const count = sky.widthPx * sky.heightPx;
  const data = Float32Array.from(
    { length: count },
    (_, i) => scale * sky.gain(i % sky.widthPx, Math.floor(i / sky.widthPx)),
  );
  const mask = new Uint8Array(count);
  mask[masked] = 1;
  data[masked] = 0;
  const image = { widthPx: sky.widthPx, heightPx: sky.heightPx, data, sigma: new Float32Array(count), mask };
  writeFitsFile(sky.path(name), ccdHdus(image, { unit: "", cards }), { writtenUtcMs: 0, replace: false });
  return sky.path(name);
}
const masked = 20 * 48 + 10;

const first = (path: string) => readFits(readFileSync(path), path)[0]!;

test("an image loses the rig's pattern and keeps its level; the masked pixel is filled and told", async () => {
  using sky = new SkyFiles(1);
  const flat = writeFlat(sky, "flat.fits", 7);
  const dark = sky.write("dark.fits", () => 250);
  const cards = [{ keyword: "OBJECT", value: "Sun" }];
  const files = [1, 2].map((index) =>
    sky.write(
      `sun-${index}.fits`,
      (x, y) => 250 + 10_000 * sky.gain(x, y) + (y * 48 + x === masked ? 9000 : 0),
      { cards },
    ),
  );
  const host = await apply(["--flat", flat, "--dark", dark, ...files, "-o", sky.path("out"), "--json"]);
  expect(host.exitCode).toBe(0);
  expect(host.json.applied).toMatchObject([
    { ended: "written", mendedPx: 1 },
    { ended: "written", mendedPx: 1 },
  ]);
  const { pixels, header } = first(join(sky.folder, "out", "sun-1.fits"));
  let mean = 0;
  for (let i = 0; i < 48 * 32; i++)
    if (i !== masked) mean += sky.gain(i % 48, Math.floor(i / 48)) / (48 * 32 - 1);
  for (const value of pixels!) expect(Math.abs(value - 10_000 * mean)).toBeLessThan(1);
  expect(header.text("OBJECT")).toBe("Sun");
  expect(header.text("FLATFILE")).toBe("flat.fits");
  expect(header.number("MENDED")).toBe(1);
  expect(header.texts("HISTORY").join("")).toContain("1 masked pixels are the median of trusted neighbours");
});

/** Of a flat whose counts were straightened by a curve, as a run writes them. */
const curveCards: readonly Card[] = [
  { keyword: "GAIN", value: 100 },
  { keyword: "RESPONS1", value: -0.05 },
  { keyword: "RESPONS2", value: 0 },
  { keyword: "RESPONS3", value: 0 },
  { keyword: "RESPCOR", value: true },
  { keyword: "RESPTOP", value: 20_000 },
];

/** What the sensor with that curve makes of light [adu above the dark]. */
function bend(light: number): number {
  let measured = light;
  for (let round = 0; round < 20; round++) measured = light * Math.exp((-0.05 * measured) / 20_000);
  return measured;
}

test("an image's counts are straightened where the flat's were, above its dark; another gain is told", async () => {
  using sky = new SkyFiles(4);
  const flat = writeFlat(sky, "flat.fits", 1, curveCards);
  const bare = writeFlat(sky, "as-it-came.fits", 1);
  const dark = sky.write("dark.fits", () => 250);
  const cards = [{ keyword: "GAIN", value: 200 }];
  const image = sky.write("sun.fits", (x, y) => 250 + bend(12_000 * sky.gain(x, y)), { cards });
  const spreadOf = async (file: string, as: "float32" | "uint16") => {
    const host = await apply([
      "--flat",
      file,
      "--dark",
      dark,
      image,
      "-o",
      sky.path("out"),
      "--as",
      as,
      "--replace",
      "--json",
    ]);
    expect(host.exitCode).toBe(0);
    const { pixels, header } = first(join(sky.folder, "out", "sun.fits"));
    const levels = [...pixels!].map((value) => value - (header.number("PEDESTAL") ?? 0));
    const told = `${header.texts("HISTORY").join("")}${JSON.stringify(host.json)}`;
    return { spread: (Math.max(...levels) - Math.min(...levels)) / levels[0]!, level: levels[0]!, told };
  };
  const bent = await spreadOf(bare, "float32");
  expect(bent.spread).toBeGreaterThan(0.002);
  expect(bent.told).not.toContain("straightened");
  for (const as of ["float32", "uint16"] as const) {
    const straight = await spreadOf(flat, as);
    expect(straight.spread, as).toBeLessThan(0.0005);
    expect(straight.told).toContain("counts straightened by the sensor's curve");
    expect(straight.told).toMatch(/gain/);
  }
  const host = await apply(["--flat", flat, image, "-o", sky.path("out"), "--replace"]);
  expect(host.exitCode).toBe(2);
  expect(host.err).toContain("Name the images' dark");
});

test("as uint16 the result keeps the dark's level as its floor", async () => {
  using sky = new SkyFiles(2);
  const flat = writeFlat(sky, "flat.fits", 1);
  const dark = sky.write("dark.fits", () => 250);
  const image = sky.write("sun.fits", () => 240);
  await apply(["--flat", flat, "--dark", dark, image, "-o", sky.path("out"), "--as", "uint16"]);
  const { pixels, header } = first(join(sky.folder, "out", "sun.fits"));
  expect(pixels).toBeInstanceOf(Uint16Array);
  expect(header.number("PEDESTAL")).toBe(250);
  for (const value of pixels!) expect(Math.abs(value - 240)).toBeLessThan(3);
});

test("files of other types are divided as well", async () => {
  using sky = new SkyFiles(3);
  const flat = writeFlat(sky, "flat.fits", 1);
  const values = Array.from({ length: 48 * 32 }, (_, i) => 100 + (i % 50));
  const kinds = [Uint8Array, Int16Array, Uint16Array, Int32Array, Float32Array, Float64Array];
  const results = [];
  for (const [index, kind] of kinds.entries()) {
    writeFitsFile(sky.path(`${index}.fits`), [{ pixels: kind.from(values), shape: [32, 48] }], {
      writtenUtcMs: 0,
      replace: false,
    });
    for (const as of ["float32", "uint16"]) {
      await apply(["--flat", flat, sky.path(`${index}.fits`), "-o", sky.path(as), "--as", as]);
    }
    results.push([
      first(join(sky.path("float32"), `${index}.fits`)).pixels,
      first(join(sky.path("uint16"), `${index}.fits`)).pixels,
    ]);
  }
  for (const result of results) expect(result).toEqual(results[0]);
});

test("a bad file is told and left out, the others are done, the exit code says so", async () => {
  using sky = new SkyFiles(4);
  const flat = writeFlat(sky, "flat.fits", 1);
  const good = [1, 2].map((index) => sky.write(`sun-${index}.fits`, () => 5000));
  writeFileSync(sky.path("text.fits"), "hello");
  writeFitsFile(sky.path("small.fits"), [{ pixels: new Uint8Array(6), shape: [2, 3] }], {
    writtenUtcMs: 0,
    replace: false,
  });
  const host = await apply([
    "--flat",
    flat,
    good[0]!,
    sky.path("text.fits"),
    sky.path("small.fits"),
    good[1]!,
    "-o",
    sky.path("out"),
    "--json",
  ]);
  expect(host.exitCode).toBe(2);
  expect(host.json.applied.map(({ ended }: { ended: string }) => ended)).toEqual(["written", "written"]);
  expect(host.json.failed.map(({ file }: { file: string }) => file)).toEqual([
    sky.path("text.fits"),
    sky.path("small.fits"),
  ]);
  expect(host.err).toContain("Left out: ");
  expect(host.err).toContain("not a FITS file");
});

test("started again, it does what is missing and leaves the rest alone", async () => {
  using sky = new SkyFiles(5);
  const flat = writeFlat(sky, "flat.fits", 1);
  const files = [1, 2].map((index) => sky.write(`sun-${index}.fits`, () => 5000 + index));
  const out = sky.path("out");
  await apply(["--flat", flat, files[0]!, "-o", out]);
  const { mtimeMs } = statSync(join(out, "sun-1.fits"));
  const host = await apply(["--flat", flat, ...files, "-o", out, "--json"]);
  expect(host.exitCode).toBe(0);
  expect(host.json.applied.map(({ ended }: { ended: string }) => ended)).toEqual(["done before", "written"]);
  expect(statSync(join(out, "sun-1.fits")).mtimeMs).toBe(mtimeMs);
});

test("results of another flat or another image are written over only when asked", async () => {
  using sky = new SkyFiles(6);
  const image = sky.write("sun.fits", () => 5000);
  const out = sky.path("out");
  await apply(["--flat", writeFlat(sky, "a.fits", 1), image, "-o", out]);
  const before = readFileSync(join(out, "sun.fits"));
  const other = writeFlat(sky, "b.fits", 2);
  const refused = await apply(["--flat", other, image, "-o", out]);
  expect(refused.exitCode).toBe(2);
  expect(refused.err).toContain("--replace");
  expect(readFileSync(join(out, "sun.fits")).equals(before)).toBe(true);
  expect((await apply(["--flat", other, image, "-o", out, "--replace"])).exitCode).toBe(0);
  expect(first(join(out, "sun.fits")).header.text("FLATFILE")).toBe("b.fits");
  sky.write("sun.fits", () => 6000);
  expect((await apply(["--flat", other, image, "-o", out])).exitCode).toBe(2);
});

test("the raw image is never written over, and a divided one is not divided again", async () => {
  using sky = new SkyFiles(7);
  const flat = writeFlat(sky, "flat.fits", 1);
  const image = sky.write("sun.fits", () => 5000);
  const before = readFileSync(image);
  expect((await apply(["--flat", flat, image, "-o", sky.folder, "--replace"])).exitCode).toBe(2);
  expect(readFileSync(image).equals(before)).toBe(true);
  await apply(["--flat", flat, image, "-o", sky.path("out")]);
  const again = await apply(["--flat", flat, join(sky.path("out"), "sun.fits"), "-o", sky.path("again")]);
  expect(again.exitCode).toBe(2);
  expect(again.err).toContain("has been divided by flat.fits already");
});

test("a flat that is none, or is not there, ends it before anything is written", async () => {
  using sky = new SkyFiles(8);
  const image = sky.write("sun.fits", () => 5000);
  const zero = sky.write("zero.fits", () => 0);
  for (const [flat, said] of [
    [zero, "holds no pixel that could be divided by"],
    [sky.path("none.fits"), "is not there"],
  ] as const) {
    const args = ["--despite-kind", "--flat", flat, image, "-o", sky.path("out"), "--json"];
    const host = await apply(args);
    expect(host.exitCode).toBe(2);
    expect(host.json.happened).toContain(said);
  }
});

test("a raw file that does not agree with its own DATASUM is told", async () => {
  using sky = new SkyFiles(9);
  const flat = writeFlat(sky, "flat.fits", 1);
  const image = sky.write("sun.fits", () => 5000);
  const bytes = readFileSync(image);
  bytes[2880 + 100]! ^= 1;
  writeFileSync(image, bytes);
  const host = await apply(["--flat", flat, image, "-o", sky.path("out")]);
  expect(host.exitCode).toBe(0);
  expect(host.err).toContain("does not agree with its own DATASUM");
});

test("images that a run found its flat not to fit, or perhaps not, are divided with a warning", async () => {
  using sky = new SkyFiles(41);
  const [early, late] = [writeFlat(sky, "flat-master.fits", 1), writeFlat(sky, "flat-master-2.fits", 1)];
  const meantFor = { keyword: "FLATMSTR", value: "flat-master.fits" };
  const image = (name: string, ...cards: Card[]) =>
    sky.write(name, () => 1000, { cards: [meantFor, ...cards] });
  const files = [
    image("fine.fits"),
    image("moved.fits", { keyword: "FLATFITS", value: "moved" }),
    image("unsure.fits", { keyword: "FLATFITS", value: "unsure" }),
  ];
  const warned = async (flat: string, out: string) =>
    (await apply(["--flat", flat, ...files, "-o", sky.path(out), "--json"])).json.applied.map(
      ({ warnings }: { warnings: string[] }) => warnings.filter((text) => text.includes("the train")),
    );
  expect(await warned(early, "early")).toEqual([
    [],
    [expect.stringContaining("flat-master.fits does not fit it")],
    [expect.stringContaining("may have been taken before the train moved or after it")],
  ]);
  expect(await warned(late, "late")).toEqual([[], [], [expect.stringContaining("evenfield match")]]);
});
