import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { combineFiles } from "../../../agent/files/combine/combine-files.ts";
import { maskBits } from "../../../agent/imaging/combining/mask-bits.ts";
import { MasterBuilder } from "../../../agent/imaging/combining/master-builder.ts";
import { normaliseFlat } from "../../../agent/imaging/combining/normalise-flat.ts";
import { nobodyLooked } from "../../../agent/imaging/proof/light-figures.ts";
import { markUnhealthy, stepOfFrame } from "../../../agent/masters/mark-unhealthy.ts";
import { figuresOf } from "../../../agent/masters/master-cards.ts";
import { readMasterDark } from "../../../agent/masters/read-master.ts";
import { SeriesNotes, writeDarkMaster, writeFlatMaster } from "../../../agent/procedures/master-files.ts";
import type { Workbench } from "../../../agent/procedures/step.ts";
import { type CcdImage, readCcdImage } from "../../../drivers/formats/ccd-image.ts";
import { FitsFile } from "../../../drivers/formats/fits-file.ts";
import type { FitsHeader } from "../../../drivers/formats/fits-header.ts";
import { utcText, writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { Random } from "../../../drivers/kit/random.ts";
import type { Frame } from "../../../drivers/roles/camera.ts";

const seed = 20261130;
const folder = mkdtempSync(join(tmpdir(), "one-master-"));
afterAll(() => rmSync(folder, { recursive: true }));

const shape = { widthPx: 208, heightPx: 161 };
const pxCount = shape.widthPx * shape.heightPx;
const pedestalAdu = 800;
const electronsPerAdu = 0.5;
/** What is wrong with some pixels. */
const at = { hot: 5000, unsteady: 7000, dead: 9003, clipped: 11_000, hit: 13_000 } as const;

const gain = (() => {
  const random = new Random(seed);
  return Float32Array.from({ length: pxCount }, (_, i) => {
    const [x, y] = [(i % shape.widthPx) / 104 - 1, Math.floor(i / shape.widthPx) / 80 - 1];
    return (1 - 0.1 * (x * x + y * y)) * (1 + 0.006 * random.gauss());
  });
})();

function drawn(random: Random, index: number, levelAdu: (px: number) => number): Frame {
  const pixelsAdu = Uint16Array.from({ length: pxCount }, (_, i) => {
    const electrons = levelAdu(i) * electronsPerAdu;
    const own = i === at.unsteady ? 3000 * (random.uniform() < 0.5 ? 1 : 0) : i === at.hot ? 9000 : 0;
    const noise = Math.sqrt(electrons + 9) * random.gauss();
    return Math.min(
      65_535,
      Math.max(0, Math.round(pedestalAdu + own + (electrons + noise) / electronsPerAdu)),
    );
  });
  return {
    ...shape,
    pixelsAdu,
    startedUtcMs: Date.UTC(2026, 6, 14, 10, 0, 2 * index),
    exposureSeconds: 0.5,
    gain: 100,
  } as Frame;
}

/** The light walks by 3 %; one frame has a cloud's edge in it. */
function flats(count: number, cloudIn?: number): Frame[] {
  const random = new Random(seed + 1);
  return Array.from({ length: count }, (_, k) => {
    const level = 40_000 * (1 + 0.03 * Math.sin(k / 5));
    const edge = (px: number) => (k === cloudIn && px % shape.widthPx < 100 ? 0.96 : 1);
    const frame = drawn(random, k, (px) => level * gain[px]! * edge(px) * (px === at.dead ? 0.01 : 1));
    if (k >= 3) frame.pixelsAdu[at.clipped] = 65_535;
    if (k === 4) frame.pixelsAdu[at.hit] = 65_535;
    return frame;
  });
}

function darks(): Frame[] {
  const random = new Random(seed + 2);
  return Array.from({ length: 16 }, (_, k) => drawn(random, k, () => 0));
}

function stored(frames: readonly Frame[], kind: string): string[] {
  return frames.map((frame, k) => {
    const path = join(folder, `${kind}-${k}.fits`);
    const cards = [
      { keyword: "IMAGETYP", value: kind },
      { keyword: "DATE-OBS", value: utcText(frame.startedUtcMs) },
      { keyword: "EXPTIME", value: frame.exposureSeconds },
      { keyword: "GAIN", value: frame.gain! },
    ];
    const hdu = { pixels: frame.pixelsAdu, shape: [shape.heightPx, shape.widthPx], cards };
    writeFitsFile(path, [hdu], { writtenUtcMs: 0, replace: true });
    return path;
  });
}

const bench = {
  folder: join(folder, "run"),
  clock: { nowMs: () => 0 },
  rig: { camera: { name: "a camera", limits: { pixelMicron: 3 } } },
  optics: { focalLengthMm: 700, apertureMm: 100, wavelengthNm: 656 },
  findings: { lightRate: {} },
} as unknown as Workbench;

function notesOf(frames: readonly Frame[]): SeriesNotes {
  const notes = new SeriesNotes();
  for (const frame of frames) notes.add(frame);
  return notes;
}

/** As a run does it with frames as they come. */
function darkOfRun(frames: readonly Frame[]): string {
  const builder = new MasterBuilder({ shape, frameCountExpected: frames.length, kind: "dark" });
  for (const { pixelsAdu } of frames) builder.add(pixelsAdu);
  const master = builder.finish();
  markUnhealthy(master, stepOfFrame(frames[0]!.pixelsAdu));
  return join(bench.folder, writeDarkMaster(bench, master, notesOf(frames)));
}

/** @param counted of the frames, for the times */
function flatOfRun(frames: readonly Frame[], counted: readonly Frame[], darkFile: string): string {
  const { unhealthyPx, ...dark } = readMasterDark(darkFile);
  const builder = new MasterBuilder({
    ...{ shape, dark, frameCountExpected: frames.length, kind: "light", clipAdu: 65_535 },
    ...(unhealthyPx ? { unhealthyPx } : {}),
  });
  for (const { pixelsAdu } of frames) builder.add(pixelsAdu);
  const master = builder.finish();
  const notes = notesOf(counted);
  const light = nobodyLooked;
  const about = {
    blur: "diffuser",
    darkFile: "dark.fits",
    verdict: "good",
    light,
    topAdu: 65_535,
    budget: { parts: [], sum: [] },
  };
  return join(bench.folder, writeFlatMaster(bench, normaliseFlat(master)!, figuresOf(master), notes, about));
}

async function combined(files: readonly string[], output: string, darkFile?: string) {
  const path = join(folder, output);
  const request = { files, output: path, replace: true, writtenUtcMs: 0 };
  const result = await combineFiles({ ...request, ...(darkFile ? { darkFile } : {}) }, () => {});
  return { path, result };
}

/** The rig, the way and the files are not told by both. */
const provenance =
  /^(INSTRUME|FOCALLEN|APTDIA|WAVELEN|PIXSIZE|EGAIN|RDNOISE|BLUR|VERDICT|HISTORY|CHECKSUM|DATASUM)$/;

function cardsOf({ cards }: FitsHeader): Record<string, unknown> {
  const told = cards.filter(({ keyword }) => !provenance.test(keyword));
  return Object.fromEntries(told.map(({ keyword, value }) => [keyword, value]));
}

function legendOf(path: string): string[] {
  using file = FitsFile.open(path);
  return file.findImage("MASK")!.header.texts("COMMENT");
}

/** To the rounding of float32 sums. */
function expectSame(one: CcdImage, other: CcdImage): void {
  expect([...one.mask!.entries()].filter(([i, bits]) => bits !== other.mask![i])).toEqual([]);
  let [value, sigma] = [0, 0];
  for (let i = 0; i < pxCount; i++) {
    value = Math.max(value, Math.abs(one.data[i]! - other.data[i]!) / other.sigma![i]!);
    sigma = Math.max(sigma, Math.abs(one.sigma![i]! / other.sigma![i]! - 1));
  }
  expect(value, `seed ${seed}`).toBeLessThan(1e-3);
  expect(sigma, `seed ${seed}`).toBeLessThan(1e-3);
}

const darkFrames = darks();
const darkFiles = stored(darkFrames, "Dark Frame");
const runDark = darkOfRun(darkFrames);

test("darks: values, sigma, mask with hot and unsteady pixels, legend and header are the same from a run and from files", async () => {
  const { path, result } = await combined(darkFiles, "dark.fits");
  const [ours, theirs] = [readCcdImage(path), readCcdImage(runDark)];
  expectSame(ours, theirs);
  for (const px of [at.hot, at.unsteady])
    expect(ours.mask![px]! & maskBits.unhealthy).toBe(maskBits.unhealthy);
  expect(cardsOf(ours.header)).toEqual(cardsOf(theirs.header));
  expect(legendOf(path)).toEqual(legendOf(runDark));
  expect(result).toMatchObject({ method: "series", frameCount: 16, refusedFrames: 0, maskedPx: 2 });
});

test.each([
  ["40 frames in walking light", 40, undefined],
  ["5 frames", 5, undefined],
  ["a cloud's edge among 30", 30, 20],
  ["a cloud's edge among the first twelve", 30, 6],
] as const)("flats, %s: the same from a run and from files", async (_, count, cloudIn) => {
  const frames = flats(count, cloudIn);
  const { path, result } = await combined(
    stored(frames, "Flat Frame"),
    "flat.fits",
    join(folder, "dark.fits"),
  );
  const counted = frames.filter((__, k) => k !== cloudIn);
  const runFlat = flatOfRun(frames, counted, runDark);
  const [ours, theirs] = [readCcdImage(path), readCcdImage(runFlat)];
  expectSame(ours, theirs);
  const own = cardsOf(ours.header);
  expect(own).toEqual(cardsOf(theirs.header));
  expect(own.REFUSED).toBe(cloudIn === undefined ? 0 : 1);
  if (count > 12) expect(Math.abs((own.EVENODD as number) - 1), `seed ${seed}`).toBeLessThan(0.05);
  expect(legendOf(path)).toEqual(legendOf(runFlat));
  const { mask, data, sigma } = ours;
  for (const px of [at.hot, at.unsteady, at.dead])
    expect(mask![px]! & maskBits.unhealthy).toBe(maskBits.unhealthy);
  expect(mask![at.clipped]! & maskBits.clipped).toBe(maskBits.clipped);
  expect(mask![at.hit], "one ray is no reason to mask a pixel").toBe(0);
  const mean = gain.reduce((sum, value) => sum + value) / pxCount;
  let [within, counts] = [0, 0];
  for (let i = 0; i < pxCount; i++) {
    if (mask![i] !== 0) continue;
    counts++;
    if (Math.abs(data[i]! - gain[i]! / mean) < sigma![i]!) within++;
  }
  expect(Math.abs(within / counts - 0.6827), `seed ${seed}`).toBeLessThan(0.02);
  expect(result.warnings.filter((text) => text.includes("left out")).length).toBe(
    cloudIn === undefined ? 0 : 1,
  );
});
