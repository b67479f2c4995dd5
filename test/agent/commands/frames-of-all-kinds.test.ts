import { writeFileSync } from "node:fs";
import { gzipSync } from "node:zlib";
import { expect, test } from "vitest";
import { registerApply } from "../../../agent/commands/apply.ts";
import { registerCombine } from "../../../agent/commands/combine.ts";
import { registerInspect } from "../../../agent/commands/inspect.ts";
import { readCcdImage } from "../../../drivers/formats/ccd-image.ts";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import { FitsFile } from "../../../drivers/formats/fits-file.ts";
import type { FitsPixels } from "../../../drivers/formats/fits-pixels.ts";
import { encodeFits, writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { type SerToWrite, serBytes, ticksOf } from "../../drivers/formats/ser-bytes.ts";
import { evenfield } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

const [widthPx, heightPx] = [48, 32];
const despite = ["--despite-move", "--despite-dark"];
const flatKind: Card = { keyword: "IMAGETYP", value: "Flat" };

function write(sky: SkyFiles, name: string, pixels: FitsPixels, shape: number[], cards: Card[] = []): string {
  writeFitsFile(sky.path(name), [{ pixels, shape, cards }], { writtenUtcMs: 0, replace: true });
  return sky.path(name);
}

function writeSer(sky: SkyFiles, name: string, ser: Omit<SerToWrite, "widthPx" | "heightPx">): string {
  writeFileSync(sky.path(name), serBytes({ widthPx, heightPx, ...ser }));
  return sky.path(name);
}

/** Frames of a flat whose light walks by a few per cent. */
function flatFrames(sky: SkyFiles, count: number, random = new Random(11)): Uint16Array[] {
  return Array.from({ length: count }, (_, k) =>
    Uint16Array.from({ length: widthPx * heightPx }, (_, i) => {
      const level = 30_000 * (1 + 0.02 * Math.sin(k)) * sky.gain(i % widthPx, Math.floor(i / widthPx));
      return Math.round(level + 90 * random.gauss());
    }),
  );
}

test.each([
  ["series", ["--kind", "flat"]],
  ["clipped", ["--method", "clipped"]],
  ["median", ["--method", "median"]],
])("combine (%s) of a SER sequence, of a cube and of single files gives one master", async (_, how) => {
  using sky = new SkyFiles(1);
  const frames = flatFrames(sky, 9);
  const singles = frames.map((frame, k) => write(sky, `flat-${k}.fits`, frame, [heightPx, widthPx]));
  const all = Uint16Array.from(frames.flatMap((frame) => [...frame]));
  const files = {
    singles,
    cube: [write(sky, "cube.fits", all, [9, heightPx, widthPx])],
    little: [writeSer(sky, "little.ser", { depthBits: 16, frames })],
    big: [writeSer(sky, "big.ser", { depthBits: 16, frames, pixels: "big" })],
    mixed: [...singles.slice(0, 4), writeSer(sky, "rest.ser", { depthBits: 16, frames: frames.slice(4) })],
  };
  const masters = await Promise.all(
    Object.entries(files).map(async ([name, list]) => {
      const host = await evenfield(registerCombine, [
        "combine",
        ...list,
        ...how,
        "-o",
        sky.path(`m-${name}`),
      ]);
      expect(host.exitCode, host.err).toBe(0);
      return readCcdImage(sky.path(`m-${name}`));
    }),
  );
  for (const master of masters.slice(1)) {
    expect(master.data).toEqual(masters[0]!.data);
    expect(master.sigma).toEqual(masters[0]!.sigma);
    expect(master.mask).toEqual(masters[0]!.mask);
  }
  expect(masters[2]!.header.texts("HISTORY")).toContain("  little.ser, frames 1 to 9");
  expect(masters[0]!.header.number("NCOMBINE")).toBe(9);
});

test("times of SER frames reach the master; 8 bits make one too; a kind that a header denies is refused", async () => {
  using sky = new SkyFiles(2);
  const random = new Random(5);
  const frames = Array.from({ length: 4 }, () =>
    Uint16Array.from({ length: widthPx * heightPx }, () => 180 + Math.round(3 * random.gauss())),
  );
  const start = Date.UTC(2026, 6, 14, 9);
  const stampsTicks = frames.map((_, k) => ticksOf(start + 2000 * k));
  const ser = writeSer(sky, "flat.ser", { depthBits: 8, frames, stampsTicks });
  const made = await evenfield(registerCombine, ["combine", ser, "--kind", "flat", "-o", sky.path("m.fits")]);
  expect(made.exitCode, made.err).toBe(0);
  const { header, data } = readCcdImage(sky.path("m.fits"));
  expect(header.text("DATE-OBS")).toBe("2026-07-14T09:00:00.000");
  expect(header.text("DATE-END")).toBe("2026-07-14T09:00:06.000");
  expect(data.reduce((sum, value) => sum + value, 0) / data.length).toBeCloseTo(1, 3);
  const dark = sky.write("dark.fits", () => 200, {
    noise: 3,
    cards: [{ keyword: "IMAGETYP", value: "Dark" }],
  });
  const odd = await evenfield(registerCombine, [
    "combine",
    dark,
    ser,
    "--kind",
    "flat",
    "-o",
    sky.path("x.fits"),
  ]);
  expect([odd.exitCode, odd.err]).toEqual([2, expect.stringMatching(/calls itself a frame of kind dark/)]);
});

test("inspect of a sequence looks at its middle frame and says so", async () => {
  using sky = new SkyFiles(3);
  const ser = writeSer(sky, "flat.ser", { depthBits: 16, frames: flatFrames(sky, 5) });
  const host = await evenfield(registerInspect, ["inspect", ser, "--json"]);
  expect(host.json.files).toMatchObject([{ frame: { index: 2, of: 5 }, widthPx, heightPx, type: "uint16" }]);
  expect((await evenfield(registerInspect, ["inspect", ser])).out).toContain("frame 3 of 5");
});

const bayer: Card = { keyword: "BAYERPAT", value: "RGGB", comment: "colours" };
/** Levels of the four places of RGGB. */
const colourOf = (i: number) => [0.4, 1, 1, 0.62][2 * (Math.floor(i / widthPx) & 1) + ((i % widthPx) & 1)]!;

test("pixels behind colour filters: each colour keeps its own level, and holes are filled from their own", async () => {
  using sky = new SkyFiles(4);
  const rig = (i: number) => sky.gain(i % widthPx, Math.floor(i / widthPx));
  const gain = Float32Array.from({ length: widthPx * heightPx }, (_, i) => rig(i) * colourOf(i));
  const hole = 7 * widthPx + 21;
  const mask = new Uint8Array(gain.length);
  mask[hole] = 1;
  const hdus = [
    { pixels: gain, shape: [heightPx, widthPx], cards: [flatKind, bayer] },
    { pixels: mask, shape: [heightPx, widthPx], name: "MASK" },
  ];
  writeFitsFile(sky.path("flat.fits"), hdus, { writtenUtcMs: 0, replace: true });
  // The light of the day has other colours than that of the flat.
  const day = (i: number) => 20_000 * (colourOf(i) === 0.4 ? 0.5 : colourOf(i));
  const pixels = Uint16Array.from(gain, (_, i) => Math.round(day(i) * rig(i)));
  pixels[hole] = 3;
  const image = write(
    sky,
    "sun.fits",
    pixels,
    [heightPx, widthPx],
    [bayer, { keyword: "XBAYROFF", value: 0 }],
  );
  const host = await evenfield(registerApply, [
    ...["apply", image, "--flat", sky.path("flat.fits"), "-o", sky.path("out"), ...despite],
  ]);
  expect(host.exitCode, host.err).toBe(0);
  const result = readCcdImage(sky.path("out/sun.fits"));
  expect([result.header.text("BAYERPAT"), result.header.number("XBAYROFF")]).toEqual(["RGGB", 0]);
  // A colour's level is that of the captured picture: the mean of the rig over its pixels.
  for (const place of [0, 1, 2, 3]) {
    const ofPlace = [...gain.keys()].filter(
      (i) => 2 * (Math.floor(i / widthPx) & 1) + ((i % widthPx) & 1) === place,
    );
    const trusted = ofPlace.filter((i) => i !== hole);
    const mean = trusted.reduce((sum, i) => sum + rig(i), 0) / trusted.length;
    for (const i of ofPlace) expect(result.data[i]! / (day(i) * mean), `pixel ${i}`).toBeCloseTo(1, 3);
  }
});

test("a flat of frames behind colour filters: no colour is taken for dead pixels", async () => {
  using sky = new SkyFiles(5);
  const random = new Random(8);
  const frames = Array.from({ length: 6 }, () =>
    Uint16Array.from({ length: widthPx * heightPx }, (_, i) =>
      Math.round(40_000 * colourOf(i) + 60 * random.gauss()),
    ),
  );
  const ser = writeSer(sky, "flat.ser", { depthBits: 16, frames, colourId: 8 });
  const host = await evenfield(registerCombine, [
    "combine",
    ser,
    "--kind",
    "flat",
    "-o",
    sky.path("m.fits"),
    "--json",
  ]);
  expect(host.exitCode, host.err).toBe(0);
  expect(host.json.maskedPx).toBe(0);
  expect(readCcdImage(sky.path("m.fits")).header.text("BAYERPAT")).toBe("RGGB");
});

test("a region of the sensor against the full flat: what is cut out of the whole divided image", async () => {
  using sky = new SkyFiles(6);
  const random = new Random(3);
  const fill = (level: (i: number) => number) =>
    Float32Array.from({ length: widthPx * heightPx }, (_, i) => level(i));
  const gain = fill((i) => sky.gain(i % widthPx, Math.floor(i / widthPx)) * (1 + 0.01 * random.gauss()));
  const flat = write(sky, "flat.fits", gain, [heightPx, widthPx], [flatKind]);
  const dark = write(
    sky,
    "dark.fits",
    fill(() => 200 + random.gauss()),
    [heightPx, widthPx],
  );
  const whole = Uint16Array.from(gain, (value) => 200 + Math.round(9000 * value));
  const [x0, y0, width, height] = [13, 5, 20, 17];
  const part = Uint16Array.from({ length: width * height }, (_, i) => {
    return whole[(y0 + Math.floor(i / width)) * widthPx + x0 + (i % width)]!;
  });
  const full = write(sky, "full.fits", whole, [heightPx, widthPx]);
  const regions = {
    "origin.fits": [
      { keyword: "XORGSUBF", value: x0 },
      { keyword: "YORGSUBF", value: y0 },
    ],
    "section.fits": [{ keyword: "CCDSEC", value: `[${x0 + 1}:${x0 + width},${y0 + 1}:${y0 + height}]` }],
  };
  const parts = Object.entries(regions).map(([name, cards]) =>
    write(sky, name, part, [height, width], cards),
  );
  const outside = write(
    sky,
    "outside.fits",
    part,
    [height, width],
    [
      { keyword: "XORGSUBF", value: 40 },
      { keyword: "YORGSUBF", value: y0 },
    ],
  );
  const silent = write(sky, "silent.fits", part, [height, width]);
  const host = await evenfield(registerApply, [
    ...["apply", full, ...parts, outside, silent, "--flat", flat, "--dark", dark],
    ...["-o", sky.path("out"), ...despite, "--json"],
  ]);
  const { data } = readCcdImage(sky.path("out/full.fits"));
  for (const name of Object.keys(regions)) {
    const cut = readCcdImage(sky.path(`out/${name}`)).data;
    for (let i = 0; i < cut.length; i++)
      expect(cut[i]).toBe(data[(y0 + Math.floor(i / width)) * widthPx + x0 + (i % width)]);
  }
  expect(host.json.failed).toMatchObject([
    { file: outside, happened: expect.stringContaining("not inside the flat") },
    { file: silent, happened: expect.stringContaining("20 x 17 px and the flat 48 x 32 px") },
  ]);
});

test("packed images: results have the plain name and are what the plain file's are", async () => {
  using sky = new SkyFiles(9);
  const gain = Float32Array.from({ length: widthPx * heightPx }, (_, i) => {
    return sky.gain(i % widthPx, Math.floor(i / widthPx));
  });
  const flat = write(sky, "flat.fits", gain, [heightPx, widthPx], [flatKind]);
  const pixels = Uint16Array.from({ length: widthPx * heightPx }, (_, i) => 1000 + i);
  const plain = write(sky, "sun.fits", pixels, [heightPx, widthPx]);
  writeFileSync(
    sky.path("packed.fits.gz"),
    gzipSync(encodeFits([{ pixels, shape: [heightPx, widthPx] }], 0)),
  );
  const host = await evenfield(registerApply, [
    ...["apply", plain, sky.path("packed.fits.gz"), "--flat", flat, "-o", sky.path("out"), ...despite],
  ]);
  expect(host.exitCode, host.err).toBe(0);
  using packed = FitsFile.open(sky.path("out/packed.fits"));
  using unpacked = FitsFile.open(sky.path("out/sun.fits"));
  expect(packed.image().readRows(0, heightPx)).toEqual(unpacked.image().readRows(0, heightPx));
});
