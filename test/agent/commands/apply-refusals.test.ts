import { existsSync } from "node:fs";
import { expect, test } from "vitest";
import { registerApply } from "../../../agent/commands/apply.ts";
import { ccdHdus } from "../../../drivers/formats/ccd-image.ts";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { evenfield } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

const pedestalAdu = 320;
const setting: Card[] = [
  { keyword: "EXPTIME", value: 0.02 },
  { keyword: "GAIN", value: 100 },
  { keyword: "CCD-TEMP", value: 24 },
];
const ownFlat: Card[] = [
  { keyword: "IMAGETYP", value: "Master Flat" },
  { keyword: "NCOMBINE", value: 20 },
  { keyword: "SWCREATE", value: "evenfield" },
];
const darkOff = { keyword: "DARKFILE", value: "flat-dark.fits" };

/** What an observer has: a master of the rig's pattern, its dark, and a raw image of it. */
function observer(sky: SkyFiles) {
  const count = sky.widthPx * sky.heightPx;
  const writeFlat = (name: string, cards: readonly Card[]) => {
    const data = Float32Array.from({ length: count }, (_, i) =>
      sky.gain(i % sky.widthPx, Math.floor(i / sky.widthPx)),
    );
    const image = { widthPx: sky.widthPx, heightPx: sky.heightPx, data, sigma: new Float32Array(count) };
    writeFitsFile(sky.path(name), ccdHdus(image, { unit: "", cards }), { writtenUtcMs: 0, replace: false });
    return sky.path(name);
  };
  const writeDark = (name: string, cards: Card[]) => sky.write(name, () => pedestalAdu, { noise: 4, cards });
  const writeImage = (name: string, cards: Card[]) =>
    sky.write(name, (x, y) => pedestalAdu + 5000 * sky.gain(x, y), { noise: 20, cards });
  return {
    writeFlat,
    writeDark,
    writeImage,
    flat: writeFlat("flat.fits", [...ownFlat, darkOff]),
    dark: writeDark("dark.fits", setting),
    image: writeImage("sun.fits", setting),
    raw: (name: string, cards: Card[]) =>
      sky.write(name, (x, y) => pedestalAdu + 40_000 * sky.gain(x, y), { noise: 100, cards }),
  };
}

async function apply(sky: SkyFiles, ...args: string[]) {
  return evenfield(registerApply, ["apply", ...args, "-o", sky.path("out"), "--replace", "--json"]);
}

/** Refused with such words, nothing written, and done when it is said to be meant. */
async function expectRefusedUnless(option: string, words: RegExp, sky: SkyFiles, ...args: string[]) {
  const refused = await apply(sky, ...args);
  expect(refused.exitCode).toBe(2);
  const { failed: [left] = [refused.json] } = Array.isArray(refused.json.failed)
    ? (refused.json as { failed: [{ happened: string; whatToDo: string }] })
    : {};
  expect(left.happened).toMatch(words);
  expect(left.whatToDo).toContain(option);
  expect(existsSync(sky.path("out/sun.fits"))).toBe(false);
  const meant = await apply(sky, ...args, option);
  expect(meant.exitCode, meant.err).toBe(0);
  expect(existsSync(sky.path("out/sun.fits"))).toBe(true);
}

test("flat, dark and image of one train are divided without a word", async () => {
  using sky = new SkyFiles(1);
  const { flat, dark, image } = observer(sky);
  const host = await apply(sky, "--flat", flat, "--dark", dark, image);
  expect(host.exitCode).toBe(0);
  expect(host.err).toBe("");
});

test("no dark for an image as captured", async () => {
  using sky = new SkyFiles(2);
  const { flat, image } = observer(sky);
  await expectRefusedUnless(
    "--despite-dark",
    /says of no dark that was taken off/,
    sky,
    "--flat",
    flat,
    image,
  );
});

test("a dark for an image whose dark is off already", async () => {
  using sky = new SkyFiles(3);
  const { flat, dark, writeImage } = observer(sky);
  const done = writeImage("sun.fits", [...setting, { keyword: "DARKFILE", value: "night.fits" }]);
  const words = /has had its dark taken off already/;
  await expectRefusedUnless("--despite-dark", words, sky, "--flat", flat, "--dark", dark, done);
});

test("a flat whose frames had their dark level in them", async () => {
  using sky = new SkyFiles(4);
  const { dark, image, writeFlat } = observer(sky);
  const pedestalIn = writeFlat("plain.fits", ownFlat);
  const words = /plain\.fits says of no dark/;
  await expectRefusedUnless("--despite-dark", words, sky, "--flat", pedestalIn, "--dark", dark, image);
});

test("a flat that another program brought to a level of 1 says nothing of its dark, and may", async () => {
  using sky = new SkyFiles(5);
  const { dark, image, writeFlat } = observer(sky);
  const foreign = writeFlat("foreign.fits", [{ keyword: "IMAGETYP", value: "FLAT" }]);
  expect((await apply(sky, "--flat", foreign, "--dark", dark, image)).exitCode).toBe(0);
});

test.each<[what: string, cards: Card[], words: RegExp]>([
  [
    "a raw flat frame",
    [{ keyword: "IMAGETYP", value: "Flat Field" }],
    /is a single frame as it was captured/,
  ],
  ["a frame that says nothing of itself", [], /is a single frame as it was captured/],
  [
    "a picture of the Sun",
    [{ keyword: "IMAGETYP", value: "Light Frame" }],
    /calls itself a frame of kind image/,
  ],
  ["a dark", [{ keyword: "IMAGETYP", value: "Dark" }], /calls itself a frame of kind dark/],
  [
    "an image that was divided",
    [{ keyword: "FLATFILE", value: "flat.fits" }],
    /has been divided by flat\.fits itself/,
  ],
])("%s as the flat", async (_, cards, words) => {
  using sky = new SkyFiles(6);
  const { dark, image, raw } = observer(sky);
  const flat = raw("raw.fits", [...cards, { keyword: "DARKFILE", value: "d" }]);
  await expectRefusedUnless("--despite-kind", words, sky, "--flat", flat, "--dark", dark, image);
});

test("a flat whose own proof said bad", async () => {
  using sky = new SkyFiles(7);
  const { dark, image, writeFlat } = observer(sky);
  const bad = writeFlat("bad.fits", [...ownFlat, darkOff, { keyword: "VERDICT", value: "bad" }]);
  await expectRefusedUnless(
    "--despite-verdict",
    /bad\.fits is a bad flat/,
    sky,
    "--flat",
    bad,
    "--dark",
    dark,
    image,
  );
});

test.each<[what: string, keyword: string, value: number, words: RegExp]>([
  ["exposure", "EXPTIME", 0.347_128_486, /exposure 0\.02 s, .*dark2\.fits has 0\.3471 s/],
  ["gain", "GAIN", 0, /gain 100, .* has 0/],
  ["temperature", "CCD-TEMP", 15, /sensor temperature 24 deg C, .* has 15 deg C/],
])("a dark of another %s", async (_, keyword, value, words) => {
  using sky = new SkyFiles(8);
  const { flat, image, writeDark } = observer(sky);
  const cards = setting.map((card) => (card.keyword === keyword ? { keyword, value } : card));
  const dark = writeDark("dark2.fits", cards);
  await expectRefusedUnless("--despite-settings", words, sky, "--flat", flat, "--dark", dark, image);
});

test("what could not be compared with the dark is told as not compared", async () => {
  using sky = new SkyFiles(9);
  const { flat, dark, writeImage } = observer(sky);
  const silent = writeImage("silent.fits", [{ keyword: "EXPTIME", value: 0.02 }]);
  const host = await apply(sky, "--flat", flat, "--dark", dark, silent);
  expect(host.exitCode).toBe(0);
  expect(host.err).toMatch(
    /do not say the gain, sensor temperature: whether .*dark\.fits fits .* not checked/,
  );
});
