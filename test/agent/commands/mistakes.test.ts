import { copyFileSync, mkdirSync, writeFileSync } from "node:fs";
import { expect, test } from "vitest";
import { registerApply } from "../../../agent/commands/apply.ts";
import { registerCombine } from "../../../agent/commands/combine.ts";
import { registerInspect } from "../../../agent/commands/inspect.ts";
import { registerMatch } from "../../../agent/commands/match.ts";
import { registerSimulate } from "../../../agent/commands/simulate.ts";
import { readCcdImage } from "../../../drivers/formats/ccd-image.ts";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { listenOnLoopback } from "../../../drivers/kit/tcp-link.ts";
import { evenfield } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

// What a person new to the program does with files from somewhere else: each is told what is wrong and what to do.

const combine = (...args: string[]) => evenfield(registerCombine, ["combine", ...args]);
const apply = (...args: string[]) => evenfield(registerApply, ["apply", "--despite-dark", ...args]);
const inspect = (...args: string[]) => evenfield(registerInspect, ["inspect", ...args]);

const kind = (value: string): Card[] => [{ keyword: "IMAGETYP", value }];

function flats(sky: SkyFiles, count: number, cards = kind("Flat Field")): string[] {
  return Array.from({ length: count }, (_, index) =>
    sky.write(`flat-${index}.fits`, (x, y) => 300 + 20_000 * sky.gain(x, y), { noise: 100, cards }),
  );
}

function reals(sky: SkyFiles, name: string, value: (px: number) => number, cards: Card[] = []): string {
  const pixels = Float32Array.from({ length: sky.widthPx * sky.heightPx }, (_, px) => value(px));
  writeFitsFile(sky.path(name), [{ pixels, shape: [sky.heightPx, sky.widthPx], cards }], {
    writtenUtcMs: 0,
    replace: false,
  });
  return sky.path(name);
}

test("combine: a frame named twice would show less noise than there is", async () => {
  using sky = new SkyFiles(1);
  const files = flats(sky, 4);
  const host = await combine(...files, `${sky.folder}/./flat-2.fits`, "-o", sky.path("m.fits"));
  expect(host.exitCode).toBe(2);
  expect(host.err).toContain("flat-2.fits is named twice.");
});

test("combine: a copy under another name is told, frames without any noise are not called copies", async () => {
  using sky = new SkyFiles(7);
  const files = flats(sky, 4);
  copyFileSync(files[1]!, sky.path("again.fits"));
  const { err } = await combine(...files, sky.path("again.fits"), "-o", sky.path("m.fits"));
  expect(err).toContain(`again.fits seems to be a copy of ${files[1]}`);
  expect(err.match(/seems to be a copy/g)).toHaveLength(1);
  const even = [1, 2].map((k) => sky.write(`even-${k}.fits`, () => 65_535));
  const told = await combine(...even, "-o", sky.path("even.fits"));
  expect(told.err).not.toContain("seems to be a copy");
});

test("combine: one name that is not there, a folder and a sequence are told as what they are", async () => {
  using sky = new SkyFiles(2);
  mkdirSync(sky.path("night"));
  writeFileSync(sky.path("sun.ser"), "LUCAM-RECORDER");
  const told = async (...files: string[]) => (await combine(...files, "-o", sky.path("m.fits"))).err;
  expect(await told(sky.path("none-*.fits"))).toContain("none-*.fits is not there.");
  expect(await told(sky.path("night"))).toContain(
    "night is a folder.\nNothing was written.\nName the files in it",
  );
  expect(await told(sky.path("sun.ser"))).toContain("no SER file");
  const files = flats(sky, 2);
  const host = await combine(...files, "-o", sky.path("night"), "--replace");
  expect(host.err).toContain("Name a file in it, for instance");
});

test("combine: frames of another kind or level are told, by label and by light", async () => {
  using sky = new SkyFiles(3);
  const files = flats(sky, 5);
  const dark = sky.write("dark-1.fits", () => 300, { noise: 5, cards: kind("Dark Frame") });
  const thin = sky.write("thin.fits", (x, y) => 300 + 15_000 * sky.gain(x, y), { noise: 100 });
  const empty = reals(sky, "empty.fits", () => Number.NaN);
  const mixed = [...files, dark, thin, empty, "-o", sky.path("m.fits")];
  const refused = await combine(...mixed);
  expect(refused.exitCode).toBe(2);
  expect(refused.err).toContain("pass --despite-kind");
  const host = await combine(...mixed, "--despite-kind");
  expect(host.exitCode).toBe(0);
  expect(refused.err).toMatch(/dark-1\.fits calls itself a frame of kind dark, .*flat-0\.fits of kind flat/);
  expect(host.err).toMatch(/dark-1\.fits has a level of 300(\.\d)? adu, the middle of all is \d{5}\.\d/);
  expect(host.err).toMatch(/thin\.fits has a level of \d{5}\.\d adu/);
  expect(host.err).toContain("empty.fits holds no value at all");
  expect(host.err).not.toMatch(/flat-\d\.fits has a level/);
});

test("combine: darks less their bias, all near zero, have no level to differ in", async () => {
  using sky = new SkyFiles(4);
  const files = [0, 1, 2, 3].map((index) =>
    reals(sky, `d${index}.fits`, (px) => 0.3 * index + ((7 * px) % 11) - 5),
  );
  const host = await combine(...files, "-o", sky.path("m.fits"));
  expect(host.err).not.toContain("level");
  expect(host.out).toMatch(/noise [\d.]+ adu/);
});

test("combine: a flat named as the dark is refused; one that says nothing of itself is told by its light", async () => {
  using sky = new SkyFiles(5);
  const files = flats(sky, 3);
  const output = ["-o", sky.path("m.fits")];
  const refused = await combine(...files.slice(0, 2), "--dark", files[2]!, ...output);
  expect(refused.exitCode).toBe(2);
  expect(refused.err).toContain("flat-2.fits calls itself a flat, and --dark wants a master dark.");
  const bare = sky.write("bare.fits", () => 15_000, { noise: 100 });
  expect((await combine(...files, "--dark", bare, ...output)).err).toContain("it is no dark of theirs");
});

test("combine: infinite values are missing ones", async () => {
  using sky = new SkyFiles(6);
  const files = [1, 2, 3, Number.POSITIVE_INFINITY].map((value, index) =>
    reals(sky, `${index}.fits`, () => value),
  );
  const host = await combine(...files, "-o", sky.path("m.fits"), "--method", "mean");
  expect(host.exitCode).toBe(0);
  expect(readCcdImage(sky.path("m.fits")).data[0]).toBe(2);
});

test("combine: a master without one pixel to be trusted says so; a small level has its digits", async () => {
  using sky = new SkyFiles(7);
  const full = [0, 1].map((index) => reals(sky, `${index}.fits`, () => Number.NaN));
  const nothing = await combine(...full, "-o", sky.path("m.fits"));
  expect(nothing.exitCode).toBe(3);
  expect(nothing.out).toContain("0 % of the frame is to be trusted");
  expect(nothing.out).toContain("100 % is hot, dead, unsteady or without a value");
  const shares = [0, 1, 2].map((index) =>
    reals(sky, `s${index}.fits`, (px) => 0.4321 + 1e-4 * ((px + index) % 3)),
  );
  expect((await combine(...shares, "-o", sky.path("s.fits"))).out).toContain("level 0.4322 adu, noise");
});

test("a picture compressed in a way that nobody knows and a row of numbers are told as what they are", async () => {
  using sky = new SkyFiles(8);
  const cards = (texts: readonly string[]) =>
    [...texts, "END"]
      .map((text) => text.padEnd(80))
      .join("")
      .padEnd(2880);
  const card = (name: string, value: string) => `${name.padEnd(8)}= ${value.padStart(20)}`;
  const primary = [card("SIMPLE", "T"), card("BITPIX", "8"), card("NAXIS", "0")];
  const table = [
    "XTENSION= 'BINTABLE'",
    ...[
      ["BITPIX", "8"],
      ["NAXIS", "2"],
      ["NAXIS1", "8"],
      ["NAXIS2", "0"],
      ["PCOUNT", "0"],
      ["GCOUNT", "1"],
    ].map(([name, value]) => card(name!, value!)),
    card("TFIELDS", "0"),
    ...[card("ZIMAGE", "T"), card("ZBITPIX", "16"), card("ZNAXIS", "1"), card("ZNAXIS1", "8")],
    card("ZCMPTYPE", "'MAGIC   '"),
  ];
  writeFileSync(sky.path("packed.fits"), cards(primary) + cards(table));
  expect((await inspect(sky.path("packed.fits"))).out).toContain(
    'compressed with the unknown way of compression "MAGIC"',
  );
  writeFitsFile(sky.path("row.fits"), [{ pixels: new Float32Array(9), shape: [9] }], {
    writtenUtcMs: 0,
    replace: false,
  });
  expect((await inspect(sky.path("row.fits"))).out).toContain("a row of numbers and no picture");
});

test("apply: masters in each other's place, a cube as the flat, a file as the folder", async () => {
  using sky = new SkyFiles(9);
  const [image, flat] = flats(sky, 2) as [string, string];
  const dark = sky.write("dark.fits", () => 300, { noise: 5, cards: kind("DARK") });
  const master = sky.write("master.fits", (x, y) => 20_000 * sky.gain(x, y), { cards: kind("Master Flat") });
  const told = async (...args: string[]) => {
    const host = await apply(image, ...args);
    expect(host.exitCode, args.join(" ")).toBe(2);
    return host.err;
  };
  const output = ["-o", sky.path("out")];
  expect(await told("--flat", dark, ...output)).toContain(
    "dark.fits calls itself a frame of kind dark, and --flat wants a master flat.",
  );
  expect(await told("--flat", master, "--dark", flat, ...output)).toContain(
    "calls itself a flat, and --dark wants",
  );
  const shape = [3, sky.heightPx, sky.widthPx];
  const cube = { pixels: new Float32Array(shape.reduce((a, b) => a * b)).fill(1), shape };
  writeFitsFile(sky.path("cube.fits"), [cube], { writtenUtcMs: 0, replace: false });
  expect(await told("--flat", sky.path("cube.fits"), ...output)).toContain("is no picture of one plane");
  expect(await told("--flat", master, "-o", image)).toContain("is a file, and results go into a folder.");
});

test("apply: two images of one name do not end as one result", async () => {
  using sky = new SkyFiles(10);
  const [flat] = flats(sky, 1) as [string];
  for (const night of ["monday", "tuesday"]) {
    mkdirSync(sky.path(night));
    sky.write(`${night}/sun.fits`, (x, y) => 10_000 * sky.gain(x, y), { noise: 50 });
  }
  const files = ["monday", "tuesday"].map((night) => sky.path(`${night}/sun.fits`));
  const host = await apply(...files, "--flat", flat, "--despite-kind", "-o", sky.path("out"), "--replace");
  expect(host.exitCode).toBe(2);
  expect(host.out).toContain("1 image written to");
  expect(host.out).toMatch(/tuesday\/sun\.fits would be written over the result of .*monday\/sun\.fits/);
});

test("inspect: what holds no picture is not good for want of figures", async () => {
  using sky = new SkyFiles(11);
  const cases = [
    [reals(sky, "nothing.fits", () => Number.NaN), "have no value or are masked, all of them."],
    [
      reals(sky, "infinite.fits", () => Number.POSITIVE_INFINITY),
      "have no value or are masked, all of them.",
    ],
    [sky.write("black.fits", () => 0), "every pixel is 0. See whether the camera was covered"],
    [sky.write("white.fits", () => 65_535), "every pixel is 65535. Shorten the exposure"],
  ] as const;
  for (const [path, said] of cases) {
    const host = await inspect(path);
    expect(host.exitCode, path).toBe(2);
    expect(host.out, path).toContain(said);
  }
});

test("simulate: a port that another program uses is told as that, and nothing is left listening", async () => {
  const other = await listenOnLoopback(0, () => {});
  const simulate = (...args: string[]) => evenfield(registerSimulate, ["simulate", ...args]);
  for (const args of [
    ["--indi", `${other.port}`],
    ["--indi", "0", "--alpaca", `${other.port}`],
  ]) {
    const host = await simulate(...args);
    expect(host.exitCode, args.join(" ")).toBe(2);
    expect(host.err).toContain(`Port ${other.port} can't be listened on: another program uses it`);
  }
  await other.close();
});

test("match: without a ledger it says what else compares; a picture that is not there comes first", async () => {
  using sky = new SkyFiles(12);
  const [image] = flats(sky, 1) as [string];
  const match = (path: string) =>
    evenfield(registerMatch, ["match", path, "--ledger", sky.path("none.sqlite")]);
  expect((await match(image)).err).toContain("`evenfield apply --flat FLAT`");
  expect((await match(sky.path("gone.fits"))).err).toContain("gone.fits is not there.");
});
