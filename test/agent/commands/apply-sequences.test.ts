import { existsSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { registerApply } from "../../../agent/commands/apply.ts";
import { readFits } from "../../../drivers/formats/fits-read.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { SerFile } from "../../../drivers/formats/ser-file.ts";
import { type SerToWrite, serBytes, ticksOf } from "../../drivers/formats/ser-bytes.ts";
import { evenfield } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

const apply = (args: readonly string[]) => evenfield(registerApply, ["apply", "--despite-dark", ...args]);
const hdus = (path: string) => readFits(readFileSync(path), path);
const stampsTicks = [0, 40, 81].map((ms) => ticksOf(Date.UTC(2026, 6, 14, 10) + ms));

/** The rig's pattern, mean 1. */
function gains(sky: SkyFiles): Float64Array {
  const all = new Float64Array(sky.widthPx * sky.heightPx);
  for (let i = 0; i < all.length; i++) all[i] = sky.gain(i % sky.widthPx, Math.floor(i / sky.widthPx));
  const mean = all.reduce((sum, value) => sum + value, 0) / all.length;
  return all.map((value) => value / mean);
}

function writeImage(sky: SkyFiles, name: string, pixels: Float32Array | Uint16Array, frameCount = 0): string {
  const shape = [...(frameCount > 0 ? [frameCount] : []), sky.heightPx, sky.widthPx];
  const cards = [{ keyword: "OBJECT", value: "Sun" }];
  writeFitsFile(sky.path(name), [{ pixels, shape, cards }], { writtenUtcMs: 0, replace: true });
  return sky.path(name);
}

const writeFlat = (sky: SkyFiles, pattern = gains(sky)) =>
  writeImage(sky, "flat.fits", new Float32Array(pattern));

type Sequence = Omit<SerToWrite, "widthPx" | "heightPx" | "frames">;

function writeSer(sky: SkyFiles, name: string, frames: readonly ArrayLike<number>[], rest: Sequence): string {
  const { widthPx, heightPx } = sky;
  writeFileSync(sky.path(name), serBytes({ widthPx, heightPx, frames, ...rest }));
  return sky.path(name);
}

function framesOf(path: string): Uint16Array[] {
  using ser = SerFile.open(path);
  return Array.from({ length: ser.frameCount }, (_, index) => {
    const raw = new Uint8Array(ser.frameBytes);
    ser.readRaw(index, raw);
    return ser.decode(raw);
  });
}

describe.each([
  { depthBits: 8, pixels: "little" },
  { depthBits: 12, pixels: "little" },
  { depthBits: 16, pixels: "little" },
  { depthBits: 16, pixels: "big" },
] as const)("SER of $depthBits bits, $pixels-endian", ({ depthBits, pixels }) => {
  test("each frame loses dark and pattern; depth, order, header and times stay", async () => {
    using sky = new SkyFiles(1);
    const scale = 2 ** (depthBits - 8);
    const dark = sky.write("dark.fits", () => 10 * scale);
    const levels = [100, 120, 140];
    const frames = levels.map((level) => gains(sky).map((gain) => Math.round(scale * (10 + level * gain))));
    const raw = writeSer(sky, "sun.ser", frames, { depthBits, pixels, stampsTicks, observer: "A. Person" });
    const out = sky.path("out");
    const host = await apply(["--flat", writeFlat(sky), "--dark", dark, raw, "-o", out, "--json"]);
    expect(host.exitCode, host.err).toBe(0);
    expect(host.json.applied).toMatchObject([
      { ended: "written", frameCount: 3, fromFrame: 0, clampedPx: 0 },
    ]);
    const [before, after] = [readFileSync(raw), readFileSync(join(out, "sun.ser"))];
    expect(after.length).toBe(before.length);
    expect(after.subarray(0, 178).equals(before.subarray(0, 178))).toBe(true);
    expect(after.subarray(-24).equals(before.subarray(-24))).toBe(true);
    // The dark's level stays as a floor; rounded twice.
    for (const [index, frame] of framesOf(join(out, "sun.ser")).entries())
      for (const count of frame)
        expect(Math.abs(count - scale * (10 + levels[index]!))).toBeLessThanOrEqual(2);
    const record = JSON.parse(readFileSync(join(out, "sun.ser.json"), "utf8"));
    expect(record).toMatchObject({ RAWFILE: "sun.ser", FLATFILE: "flat.fits", PEDESTAL: 10 * scale });
    expect(record.HISTORY.join()).toContain("divided by flat.fits");
    expect(existsSync(join(out, "sun.ser.part"))).toBe(false);
  });
});

test("what would go beyond the depth is held at its end and counted", async () => {
  using sky = new SkyFiles(2);
  const frames = [new Uint16Array(48 * 32).fill(4090), new Uint16Array(48 * 32).fill(2000)];
  const raw = writeSer(sky, "sun.ser", frames, { depthBits: 12 });
  const host = await apply(["--flat", writeFlat(sky), raw, "-o", sky.path("out"), "--json"]);
  const beyond = gains(sky).filter((gain) => Math.round(4090 / gain) > 4095).length;
  expect(beyond).toBeGreaterThan(100);
  expect(host.json.applied[0].clampedPx).toBe(beyond);
  const [bright] = framesOf(sky.path("out/sun.ser"));
  expect(bright!.filter((count) => count === 4095).length).toBeGreaterThanOrEqual(beyond);
  expect(bright!.every((count) => count <= 4095)).toBe(true);
});

test("frames of SER and of a FITS cube become what single images of the same pixels become", async () => {
  using sky = new SkyFiles(3);
  const flat = writeFlat(sky);
  const frames = [0, 1, 2].map((index) =>
    Uint16Array.from(gains(sky), (gain) => Math.round(gain * (3000 + 500 * index) + 20 * sky.random.gauss())),
  );
  const singles = frames.map((frame, index) => writeImage(sky, `${index}.fits`, frame));
  const cube = writeImage(sky, "cube.fits", Uint16Array.from(frames.flatMap((frame) => [...frame])), 3);
  const ser = writeSer(sky, "sun.ser", frames, { depthBits: 16, stampsTicks, observer: "A. Person" });
  const plain = await apply(["--flat", flat, ...singles, cube, "-o", sky.path("plain")]);
  expect(plain.exitCode, plain.err).toBe(0);
  for (const as of ["float32", "uint16"]) {
    const host = await apply(["--flat", flat, ...singles, cube, ser, "-o", sky.path(as), "--as", as]);
    expect(host.exitCode, host.err).toBe(0);
    const wanted = [0, 1, 2].flatMap((index) => [...hdus(sky.path(`${as}/${index}.fits`))[0]!.pixels!]);
    for (const name of ["cube.fits", "sun.fits"]) {
      const [image] = hdus(sky.path(`${as}/${name}`));
      expect(image!.shape).toEqual([3, 32, 48]);
      expect([...image!.pixels!]).toEqual(wanted);
    }
  }
  const [image, times] = hdus(sky.path("float32/sun.fits"));
  expect(image!.header.text("DATE-OBS")).toBe("2026-07-14T10:00:00.000");
  expect(image!.header.text("OBSERVER")).toBe("A. Person");
  expect([...times!.pixels!]).toEqual([0, 0.04, 0.081]);
  expect(hdus(sky.path("plain/cube.fits"))[0]!.pixels).toBeInstanceOf(Float32Array);
  expect(hdus(sky.path("plain/cube.fits"))[0]!.header.text("OBJECT")).toBe("Sun");
});

describe("a sequence that was broken off", () => {
  // Frames of 4 MiB: what is kept lies 64 MiB before the end.
  const [widthPx, heightPx, frameCount] = [2048, 2048, 22];

  const sky = new SkyFiles(4, widthPx, heightPx);
  const [whole, part] = [sky.path("out/sun.ser"), sky.path("out/sun.ser.part")];
  let wanted: Buffer;
  let run: () => ReturnType<typeof apply>;

  beforeAll(async () => {
    const pattern = gains(sky);
    const flat = writeFlat(sky, pattern);
    const frame = new Uint8Array(pattern.map((gain) => Math.round(100 * gain)));
    const frames = Array.from({ length: frameCount }, (_, index) => frame.map((count) => count + index));
    const raw = writeSer(sky, "sun.ser", [], { depthBits: 8, frameCount });
    writeFileSync(raw, Buffer.concat([readFileSync(raw), ...frames]));
    // Whether the flat fits takes seconds of frames as large as these, and is not what this is about.
    run = () => apply(["--flat", flat, raw, "-o", sky.path("out"), "--json", "--despite-move"]);
    expect((await run()).exitCode).toBe(0);
    wanted = readFileSync(whole);
  });
  afterAll(() => sky[Symbol.dispose]());

  /** After 20 frames. @param change one byte of what is there */
  function breakOff(change: { readonly at: number; readonly to: number }): void {
    const held = Buffer.from(wanted.subarray(0, 178 + 20 * widthPx * heightPx + 1000));
    held[change.at] = change.to;
    writeFileSync(part, held);
    rmSync(whole);
    rmSync(`${whole}.json`);
  }

  test("goes on where the disk is sure to hold it", async () => {
    // Only to see below that this frame is left alone.
    const inSecondFrame = 178 + widthPx * heightPx + 5;
    breakOff({ at: inSecondFrame, to: 255 });
    const host = await run();
    expect(host.json.applied).toMatchObject([{ ended: "written", frameCount, fromFrame: 3 }]);
    const left = Buffer.from(wanted);
    left[inSecondFrame] = 255;
    expect(readFileSync(whole).equals(left)).toBe(true);
    expect((await run()).json.applied[0].ended).toBe("done before");
  });

  test("starts anew if what is there is of another flat or another image", async () => {
    const inLastKept = 178 + 2 * widthPx * heightPx + 5;
    breakOff({ at: inLastKept, to: wanted[inLastKept]! ^ 1 });
    expect((await run()).json.applied[0].fromFrame).toBe(0);
    expect(readFileSync(whole).equals(wanted)).toBe(true);
  });
});

test("done before is told by the record; another flat needs --replace; a divided one is not divided again", async () => {
  using sky = new SkyFiles(6);
  const raw = writeSer(sky, "sun.ser", [new Uint8Array(48 * 32).fill(90)], { depthBits: 8 });
  const out = sky.path("out");
  const flat = writeFlat(sky);
  await apply(["--flat", flat, raw, "-o", out]);
  expect((await apply(["--flat", flat, raw, "-o", out, "--json"])).json.applied[0].ended).toBe("done before");
  const other = writeImage(
    sky,
    "other.fits",
    Float32Array.from(gains(sky), (gain) => 2 - gain),
  );
  const refused = await apply(["--flat", other, raw, "-o", out]);
  expect([refused.exitCode, refused.err]).toEqual([2, expect.stringContaining("--replace")]);
  expect((await apply(["--flat", other, raw, "-o", out, "--replace"])).exitCode).toBe(0);
  expect(JSON.parse(readFileSync(join(out, "sun.ser.json"), "utf8")).FLATFILE).toBe("other.fits");
  const again = await apply(["--flat", flat, join(out, "sun.ser"), "-o", sky.path("again")]);
  expect([again.exitCode, again.err]).toEqual([2, expect.stringContaining("divided by other.fits already")]);
  expect((await apply(["--flat", flat, raw, "-o", sky.folder, "--replace"])).exitCode).toBe(2);
  expect(framesOf(raw)[0]!.every((count) => count === 90)).toBe(true);
});

test("colour, another size and a dark of another depth are refused in words; the rest is done", async () => {
  using sky = new SkyFiles(7);
  const frames = [new Uint8Array(48 * 32).fill(90)];
  const good = writeSer(sky, "good.ser", frames, { depthBits: 8 });
  const colour = writeSer(sky, "rgb.ser", frames, { depthBits: 8, colourId: 100 });
  using small = new SkyFiles(7, 20, 10);
  const other = writeSer(small, "small.ser", [new Uint8Array(200)], { depthBits: 8 });
  const flat = writeFlat(sky);
  const host = await apply(["--flat", flat, colour, other, good, "-o", sky.path("out"), "--json"]);
  expect(host.exitCode).toBe(2);
  expect(host.json.failed).toMatchObject([
    { file: colour, happened: expect.stringContaining("only mono") },
    { file: other, happened: expect.stringContaining("20 x 10 px and the flat 48 x 32 px") },
  ]);
  expect(host.json.applied).toMatchObject([{ file: good, ended: "written" }]);
  const dark = sky.write("dark.fits", () => 900);
  const deep = await apply(["--flat", flat, "--dark", dark, good, "-o", sky.path("deep")]);
  expect([deep.exitCode, deep.err]).toEqual([2, expect.stringContaining("dark of the same depth")]);
});

test("of a recording that was broken off the whole frames are done, and that is said", async () => {
  using sky = new SkyFiles(8);
  const frame = new Uint8Array(48 * 32).fill(90);
  const raw = writeSer(sky, "sun.ser", [frame, frame], { depthBits: 8, frameCount: 50, stampsTicks });
  const host = await apply(["--flat", writeFlat(sky), raw, "-o", sky.path("out")]);
  expect(host.exitCode).toBe(0);
  expect(host.err).toContain("says 50 frames and holds 2 whole ones");
  using ser = SerFile.open(sky.path("out/sun.ser"));
  expect([ser.header.frameCount, ser.frameCount]).toEqual([2, 2]);
});
