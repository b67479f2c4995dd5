import { existsSync, readdirSync, readFileSync, writeFileSync } from "node:fs";
import { expect, test } from "vitest";
import { combine as combineOn, registerCombine } from "../../../agent/commands/combine.ts";
import { ccdHdus, readCcdImage } from "../../../drivers/formats/ccd-image.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { driftingFrames } from "../../bench/displaced-frames.ts";
import { patterns } from "../../campaign/displaced-scene/patterns.ts";
import { AttentiveThreads, dyingProgram } from "../threads/attentive.ts";
import { evenfield, TestHost } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

const combine = (args: readonly string[]) => evenfield(registerCombine, ["combine", ...args]);

function flats(sky: SkyFiles, count: number): string[] {
  return Array.from({ length: count }, (_, index) =>
    sky.write(`flat-${index}.fits`, (x, y) => 300 + 20_000 * sky.gain(x, y), {
      noise: 100,
      cards: [
        { keyword: "IMAGETYP", value: "Flat Field" },
        { keyword: "EXPTIME", value: 0.5 },
        { keyword: "GAIN", value: 0 },
        { keyword: "DATE-OBS", value: `2026-07-14T10:00:0${index % 10}.000` },
      ],
    }),
  );
}

test("twelve flats and a dark become a master with sigma, mask and its history", async () => {
  using sky = new SkyFiles(1);
  const files = flats(sky, 12);
  const dark = sky.write("dark.fits", () => 300, { cards: [{ keyword: "EXPTIME", value: 0.5 }] });
  const options = ["--dark", dark, "--method", "clipped", "--json"];
  const host = await combine([...files, "-o", sky.path("m.fits"), ...options]);
  expect(host.exitCode).toBe(0);
  expect(host.json).toMatchObject({
    method: "clipped",
    frameCount: 12,
    widthPx: 48,
    heightPx: 32,
    maskedPx: 0,
    warnings: [expect.stringContaining("light was not proved: no frames of the Sun")],
  });
  expect(host.err).toContain("combining");
  // Few values, the outermost left out, scatter less than what they come from: the noise told is the true one.
  expect(Math.abs(host.json.noiseAdu / (100 / Math.sqrt(12)) - 1)).toBeLessThan(0.04);
  expect(host.json.rejectedByChance).toBeCloseTo(0.0027, 5);
  const master = readCcdImage(sky.path("m.fits"));
  for (const [x, y] of [
    [5, 5],
    [24, 16],
    [30, 12],
  ] as const) {
    const i = y * 48 + x;
    expect(Math.abs(master.data[i]! - 20_000 * sky.gain(x, y))).toBeLessThan(6 * master.sigma![i]! + 6 * 30);
    expect(master.sigma![i]!).toBeGreaterThan(10);
    expect(master.sigma![i]!).toBeLessThan(60); // 100/√12 is 29
  }
  const { header } = master;
  expect(header.text("IMAGETYP")).toBe("Flat Field");
  expect(header.number("NCOMBINE")).toBe(12);
  expect(header.text("DARKFILE")).toBe("dark.fits");
  expect(header.text("DATE-OBS")).toBe("2026-07-14T10:00:00.000");
  expect(header.text("DATE-END")).toBe("2026-07-14T10:00:09.500");
  expect(header.text("DATE")).toBe("2026-07-14T10:00:00.000");
  expect(header.texts("HISTORY").join("\n")).toContain("flat-11.fits");
});

test("flats that say so become a master as a run makes it; what is no part of the series is left out and told", async () => {
  using sky = new SkyFiles(9, 160, 128);
  const cards = [{ keyword: "IMAGETYP", value: "Flat Field" }];
  const files = Array.from({ length: 14 }, (_, index) =>
    sky.write(
      `flat-${index}.fits`,
      (x, y) =>
        20_000 * (index === 12 ? 0.8 : 1 + 0.002 * index) * (x === 70 && y === 60 ? 0.01 : sky.gain(x, y)),
      { noise: 100, cards },
    ),
  );
  const host = await combine([...files, "-o", sky.path("m.fits"), "--json"]);
  expect(host.exitCode, host.err).toBe(0);
  expect(host.json).toMatchObject({ method: "series", frameCount: 13, refusedFrames: 1, maskedPx: 1 });
  expect(host.err).toContain("flat-12.fits was left out: its level is not that of the frames before it");
  expect(Math.abs(host.json.noiseAdu / (100 / Math.sqrt(13)) - 1)).toBeLessThan(0.04);
  const { data, mask, header } = readCcdImage(sky.path("m.fits"));
  expect(mask![60 * 160 + 70]! & 1).toBe(1);
  const trusted = [...data].filter((_, i) => mask![i] === 0);
  expect(trusted.reduce((sum, value) => sum + value) / trusted.length).toBeCloseTo(1, 6);
  expect(header.text("IMAGETYP")).toBe("Master Flat");
  expect(Math.abs(header.number("FLATLEVL")! / host.json.levelAdu - 1)).toBeLessThan(0.01);
  expect(header.texts("HISTORY").join("\n")).not.toContain("flat-12.fits");
});

test("a series that can't be made into one master: told what else there is, nothing written", async () => {
  using sky = new SkyFiles(10, 160, 128);
  const [one, other] = [20_000, 12_000].map((level, index) =>
    sky.write(`f${index}.fits`, () => level, { noise: 50 }),
  );
  const real = sky.path("real.fits");
  writeFitsFile(real, [{ pixels: new Float32Array(160 * 128).fill(5), shape: [128, 160] }], {
    writtenUtcMs: 0,
    replace: false,
  });
  for (const [files, said] of [
    [[one!, other!], "1 of 2 frames are alike, and a master needs two"],
    [[one!, real], "real.fits does not hold unsigned counts of 8 or 16 bits"],
  ] as const) {
    const host = await combine([...files, "-o", sky.path("m.fits"), "--method", "series"]);
    expect(host.exitCode).toBe(2);
    expect(host.err).toContain(said);
    expect(host.err).toContain("--method clipped");
    expect(existsSync(sky.path("m.fits"))).toBe(false);
  }
});

test("what clips in the frames is masked, and a pixel that is missing everywhere has no value", async () => {
  using sky = new SkyFiles(2);
  const files = [0, 1, 2].map((index) =>
    sky.write(`f${index}.fits`, (x, y) => (x === 7 && y === 3 ? 66_000 : 20_000), { noise: 100 }),
  );
  await combine([...files, "-o", sky.path("m.fits")]);
  expect([...readCcdImage(sky.path("m.fits")).mask!.entries()].filter(([, bits]) => bits !== 0)).toEqual([
    [3 * 48 + 7, 2],
  ]);
  const holes = [0, 1].map((index) => {
    writeFitsFile(
      sky.path(`h${index}.fits`),
      [{ pixels: Float32Array.of(1, Number.NaN, 3 + index), shape: [1, 3] }],
      {
        writtenUtcMs: 0,
        replace: false,
      },
    );
    return sky.path(`h${index}.fits`);
  });
  await combine([...holes, "-o", sky.path("h.fits"), "--method", "mean"]);
  const master = readCcdImage(sky.path("h.fits"));
  expect([...master.data]).toEqual([1, Number.NaN, 3.5]);
  expect([...master.mask!]).toEqual([0, 1, 0]);
});

test("a dark's own noise and mask reach the master", async () => {
  using sky = new SkyFiles(8);
  const files = [0, 1, 2].map((index) => sky.write(`f${index}.fits`, () => 20_000 + index));
  const count = 48 * 32;
  const dark = {
    widthPx: 48,
    heightPx: 32,
    data: new Float32Array(count).fill(300),
    sigma: new Float32Array(count).fill(3),
    mask: new Uint8Array(count).fill(1, 5, 6),
  };
  const hdus = ccdHdus(dark, { unit: "adu", cards: [] });
  writeFitsFile(sky.path("dark.fits"), hdus, { writtenUtcMs: 0, replace: false });
  await combine([...files, "-o", sky.path("m.fits"), "--method", "mean", "--dark", sky.path("dark.fits")]);
  const master = readCcdImage(sky.path("m.fits"));
  expect(master.data[0]).toBe(19_701);
  expect(master.sigma![0]).toBeCloseTo(Math.hypot(3, Math.sqrt(2 / 3 / 3)), 5);
  expect([...master.mask!.subarray(4, 7)]).toEqual([0, 1, 0]);
});

test("integer and real files can be mixed", async () => {
  using sky = new SkyFiles(3);
  const kinds = [Uint8Array, Int16Array, Uint16Array, Int32Array, Uint32Array, Float32Array, Float64Array];
  const files = kinds.map((kind, index) => {
    writeFitsFile(sky.path(`${index}.fits`), [{ pixels: new kind([index, 2, 10 * index]), shape: [1, 3] }], {
      writtenUtcMs: 0,
      replace: false,
    });
    return sky.path(`${index}.fits`);
  });
  await combine([...files, "-o", sky.path("m.fits"), "--method", "mean"]);
  expect([...readCcdImage(sky.path("m.fits")).data]).toEqual([3, 2, 30]);
});

test("files of other sizes, no FITS, missing or cut short are named, and nothing is written", async () => {
  using sky = new SkyFiles(4);
  const [first, second] = flats(sky, 2) as [string, string];
  writeFitsFile(sky.path("small.fits"), [{ pixels: new Uint8Array(6), shape: [2, 3] }], {
    writtenUtcMs: 0,
    replace: false,
  });
  writeFileSync(sky.path("text.fits"), "hello");
  writeFileSync(sky.path("cut.fits"), readFileSync(first).subarray(0, 4000));
  const cases = [
    ["small.fits", "small.fits is 3 x 2 px"],
    ["text.fits", "not a FITS file"],
    ["cut.fits", "cut short"],
    ["none.fits", "is not there"],
  ] as const;
  for (const [name, said] of cases) {
    const host = await combine([first, second, sky.path(name), "-o", sky.path("m.fits"), "--json"]);
    expect(host.exitCode, name).toBe(2);
    expect(host.json, name).toMatchObject({ ended: "failed", exitCode: 2, state: "Nothing was written." });
    expect(host.json.happened, name).toContain(said);
    expect(host.err, name).toContain(said);
  }
  expect(readdirSync(sky.folder).filter((name) => name.startsWith("m.fits"))).toEqual([]);
});

test("a taken name is refused, an input always", async () => {
  using sky = new SkyFiles(5);
  const files = flats(sky, 3);
  const before = readFileSync(files[0]!);
  expect((await combine([...files, "-o", sky.path("m.fits")])).exitCode).toBe(0);
  const refused = await combine([...files, "-o", sky.path("m.fits")]);
  expect(refused.exitCode).toBe(2);
  expect(refused.err).toContain("--replace");
  expect((await combine([...files, "-o", sky.path("m.fits"), "--replace"])).exitCode).toBe(0);
  expect((await combine([...files, "-o", files[0]!, "--replace"])).exitCode).toBe(2);
  expect((await combine([...files, "-o", sky.path("nowhere/m.fits")])).err).toContain("There is no folder");
  expect(readFileSync(files[0]!).equals(before)).toBe(true);
});

test("an unknown method lists what is allowed; a disc only goes with the displaced method and must be one", async () => {
  using sky = new SkyFiles(5);
  const files = flats(sky, 2);
  const trouble = async (...options: string[]) => {
    const host = await combine([...files, "-o", sky.path("m.fits"), ...options]);
    expect(host.exitCode).toBe(2);
    expect(existsSync(sky.path("m.fits"))).toBe(false);
    return host.err;
  };
  expect(await trouble("--method", "mode")).toContain("mean, clipped, median, displaced");
  expect(await trouble("--disc", "10,10,90")).toContain("--disc is for the method displaced");
  expect(await trouble("--method", "displaced", "--disc", "10,10")).toContain("--disc 10,10 is no disc");
  expect(await trouble("--method", "displaced")).toContain("Name at least 8");
});

test("a drifting Sun: the flat solved from files of three types, a dark taken off, one cloudy file left out", async () => {
  const shape = { widthPx: 120, heightPx: 96 };
  using sky = new SkyFiles(6, shape.widthPx, shape.heightPx);
  const { frames, gain } = driftingFrames({ ...shape, shifts: patterns.spiral(16, 22), seed: 11 });
  const dark = sky.write("dark.fits", (x) => 300 + x);
  const files = frames.map((frame, k) => {
    const kind = [Uint16Array, Float32Array, Int32Array][k % 3]!;
    const cloud = k === 4 ? 0.5 : 1;
    const pixels = new kind(
      Array.from(frame, (value, i) => {
        const x = i % shape.widthPx;
        return value * (x > 50 ? cloud : 1) + 300 + x;
      }),
    );
    pixels[5 * shape.widthPx + 7] = 65535;
    const path = sky.path(`drift-${k}.fits`);
    writeFitsFile(path, [{ pixels, shape: [shape.heightPx, shape.widthPx] }], {
      writtenUtcMs: 0,
      replace: false,
    });
    return path;
  });
  const options = ["--method", "displaced", "--dark", dark, "--disc", "60,48,3000"];
  const host = await combine([...files, "-o", sky.path("m.fits"), ...options, "--json"]);
  expect(host.exitCode, host.err).toBe(0);
  expect(host.json).toMatchObject({ method: "displaced", frameCount: 15, refusedFrames: 1 });
  expect((host.json as { frames: { dropped?: string }[] }).frames[4]!.dropped).toBe("unlike the others");
  const master = readCcdImage(sky.path("m.fits"));
  expect(master.header.text("IMAGETYP")).toBe("Master Flat");
  for (const keyword of ["EVENODD", "SUNLEFT", "SUNCHNG"])
    expect(master.header.number(keyword), keyword).toBeGreaterThanOrEqual(0);
  expect(master.mask![5 * shape.widthPx + 7]! & 2).toBe(2);
  const errors = [...master.data]
    .map((value, i) => Math.log(value / gain[i]!))
    .filter((_, i) => master.mask![i] === 0);
  const mean = errors.reduce((sum, error) => sum + error, 0) / errors.length;
  const rms = Math.sqrt(errors.reduce((sum, error) => sum + (error - mean) ** 2, 0) / errors.length);
  expect(rms).toBeLessThan((1.4 * 0.01) / Math.sqrt(15));
  expect(existsSync(sky.path("m.fits.scratch"))).toBe(false);
});

test("settings that differ are told, a few of them", async () => {
  using sky = new SkyFiles(7);
  const files = Array.from({ length: 12 }, (_, index) =>
    sky.write(`f${index}.fits`, () => 1000, {
      noise: 5,
      cards: [{ keyword: "GAIN", value: index === 0 ? 0 : 10 }],
    }),
  );
  const host = await combine([...files, "-o", sky.path("m.fits"), "--method", "clipped"]);
  expect(host.exitCode).toBe(0);
  expect(host.err).toContain("f1.fits has gain 10");
  expect(host.err).toContain("and 5 more like these");
});

test("frames whose headers say nothing are taken for what they show, and that is told", async () => {
  using sky = new SkyFiles(8, 96, 64);
  const walk = (index: number) => 1 + 0.03 * Math.sin(index);
  const lit = Array.from({ length: 12 }, (_, index) =>
    sky.write(`a${index}.fits`, (x, y) => 20_000 * walk(index) * sky.gain(x, y), { noise: 100 }),
  );
  const host = await combine([...lit, "-o", sky.path("m.fits"), "--json"]);
  expect(host.json).toMatchObject({ method: "series", frameCount: 12 });
  expect(host.json.warnings[0]).toContain("taken for flats: they are lit all over; --kind or --method");
  // Brought to one level, so that the light's walk of 2 % is no noise: 0.5 % of a frame over the root of 12.
  const { sigma } = readCcdImage(sky.path("m.fits"));
  expect(sigma!.toSorted()[sigma!.length >> 1]! / (0.005 / Math.sqrt(12))).toBeCloseTo(1, 0);

  const unlit = Array.from({ length: 6 }, (_, index) => sky.write(`b${index}.fits`, () => 400, { noise: 9 }));
  const ofDarks = await combine([...unlit, "-o", sky.path("d.fits"), "--json"]);
  expect(ofDarks.json).toMatchObject({ method: "series" });
  expect(ofDarks.json.warnings[0]).toContain("taken for darks: there is no light in it");

  const disc = (x: number, y: number) => (Math.hypot(x - 48, y - 32) < 20 ? 30_000 : 300);
  const images = Array.from({ length: 3 }, (_, index) => sky.write(`c${index}.fits`, disc, { noise: 50 }));
  const ofImages = await combine([...images, "-o", sky.path("i.fits"), "--json"]);
  expect(ofImages.json).toMatchObject({ method: "clipped", warnings: [] });
});

test("--help shows an example", async () => {
  const host = evenfield(registerCombine, ["combine", "--help"]);
  await expect(host).rejects.toThrow("(outputHelp)");
});

test("a second thread that is lost is told of once; the master is the same", async () => {
  using sky = new SkyFiles(1);
  const files = flats(sky, 4);
  await combine([...files, "-o", sky.path("one.fits"), "--method", "mean"]);
  const host = new TestHost();
  await combineOn(
    files,
    { output: sky.path("two.fits"), method: "mean" },
    host,
    neverAborted,
    (say) => new AttentiveThreads(say, dyingProgram),
  );
  expect(
    host.err.match(/Note: all is done on one thread, which is slower: it ended without a word/g),
  ).toHaveLength(1);
  expect(readFileSync(sky.path("two.fits")).equals(readFileSync(sky.path("one.fits")))).toBe(true);
});
