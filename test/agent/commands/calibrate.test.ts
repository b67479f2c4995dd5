import { existsSync, mkdirSync, readdirSync, readFileSync, statSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { expect, test } from "vitest";
import { registerApply } from "../../../agent/commands/apply.ts";
import { registerCalibrate } from "../../../agent/commands/calibrate.ts";
import { registerCombine } from "../../../agent/commands/combine.ts";
import { readCcdImage } from "../../../drivers/formats/ccd-image.ts";
import { SerFile } from "../../../drivers/formats/ser-file.ts";
import { serBytes } from "../../drivers/formats/ser-bytes.ts";
import { evenfield } from "./command-host.ts";
import { writeNight } from "./night-files.ts";
import { SkyFiles } from "./sky-files.ts";

const [widthPx, heightPx] = [48, 32];

const run = (args: readonly string[]) =>
  evenfield(registerCalibrate, ["calibrate", ...args, "--despite-move"]);

function filesUnder(folder: string): string[] {
  return (readdirSync(folder, { recursive: true }) as string[])
    .filter((name) => statSync(join(folder, name)).isFile())
    .sort();
}

const data = (path: string) => readCcdImage(path).data;

test("a folder is sorted; results are those of the commands given one by one, and parts together are the whole", async () => {
  using sky = new SkyFiles(1, widthPx, heightPx);
  const night = writeNight(sky);
  const dry = await run([night, "-o", sky.path("out"), "--dry-run"]);
  expect(dry.out).toContain("8 images of");
  expect(existsSync(sky.path("out"))).toBe(false);
  const host = await run([night, "-o", sky.path("out"), "--json"]);
  expect(host.exitCode, host.err).toBe(2); // files were left out
  const rows = Object.fromEntries(host.json.files.map((row: { file: string }) => [row.file, row]));
  expect(rows["sun/odd.fits"]).toMatchObject({ ended: "left out", why: expect.stringContaining("gain 7") });
  expect(rows["odd/a.fits"].why).toContain("flat or an image");
  expect(rows["d/open.fits"]).toMatchObject({
    ended: "left out",
    why: expect.stringContaining("there is light in it"),
  });
  expect(rows["sun/one-0.fits"]).toMatchObject({
    ended: "written",
    verdict: "good",
    exposureSeconds: 2,
    gain: 1,
  });
  expect(rows["sun/two-0.fits"].why).toContain("the dark of 2 s scaled to 1 s above the bias");

  const four = (name: string) => [0, 1, 2, 3].map((k) => join(night, `${name}-${k}.fits`));
  const dark = sky.path("dark.fits");
  const flat = sky.path("flat.fits");
  await evenfield(registerCombine, ["combine", ...four("d/dark-1"), "-o", dark]);
  await evenfield(registerCombine, ["combine", ...four("f/flat-1"), "--dark", dark, "-o", flat]);
  await evenfield(registerApply, [
    ...[
      "apply",
      ...four("sun/one"),
      "--flat",
      flat,
      "--dark",
      dark,
      "-o",
      sky.path("by-hand"),
      "--despite-move",
    ],
  ]);
  for (let k = 0; k < 4; k++)
    expect(data(sky.path(`out/images/sun/one-${k}.fits`))).toEqual(data(sky.path(`by-hand/one-${k}.fits`)));
  // What the scaled dark leaves of the sensor's own light is noise.
  const divided = data(sky.path("out/images/sun/two-0.fits"));
  const mean = divided.reduce((sum, value) => sum + value, 0) / divided.length;
  expect(Math.max(...divided.map((value) => Math.abs(value / mean - 1)))).toBeLessThan(0.01);
  expect(readFileSync(sky.path("out/files.html"), "utf8")).toContain("sun/two-0.fits");
  const csv = readFileSync(sky.path("out/files.csv"), "utf8").trim().split("\r\n");
  expect(csv.length).toBe(1 + host.json.files.length);

  // Shares of it, in another folder, then the whole there: it finds all done.
  const counts = [];
  for (const part of ["1/3", "2/3", "3/3"]) {
    const one = await run([night, "-o", sky.path("parts"), "--part", part, "--json"]);
    counts.push(one.json.files.filter((row: { ended: string }) => row.ended === "written").length);
  }
  expect(counts.reduce((sum, count) => sum + count, 0)).toBe(8);
  expect(Math.min(...counts)).toBeGreaterThan(0);
  const fits = (folder: string) => filesUnder(sky.path(folder)).filter((name) => name.endsWith(".fits"));
  const images = (folder: string) => fits(folder).filter((name) => name.startsWith("images"));
  expect(images("parts")).toEqual(images("out"));
  const times = () => images("parts").map((name) => statSync(sky.path(`parts/${name}`)).mtimeMs);
  const before = times();
  const again = await run([night, "-o", sky.path("parts"), "--json"]);
  expect(again.json.files.filter((row: { ended: string }) => row.ended === "done before").length).toBe(8);
  expect(times()).toEqual(before);
  expect(fits("parts")).toEqual(fits("out"));
  for (const name of fits("out"))
    expect(data(sky.path(`parts/${name}`)), name).toEqual(data(sky.path(`out/${name}`)));
  expect((await run([night, "-o", sky.path("x"), "--part", "4/3"])).exitCode).toBe(2);
});

test("SER files, whose headers say nothing, are told by their folders' names", async () => {
  using sky = new SkyFiles(3, widthPx, heightPx);
  const write = (name: string, level: (x: number, y: number) => number) => {
    mkdirSync(dirname(sky.path(name)), { recursive: true });
    const frames = Array.from({ length: 5 }, () =>
      Array.from({ length: widthPx * heightPx }, (_, i) => {
        const value = level(i % widthPx, Math.floor(i / widthPx));
        return Math.round(value + 4 * sky.random.gauss());
      }),
    );
    writeFileSync(sky.path(name), serBytes({ widthPx, heightPx, depthBits: 16, frames }));
  };
  write("day/flats/f.ser", (x, y) => 300 + 50_000 * sky.gain(x, y));
  write("day/darks/d.ser", () => 300);
  write("day/sun/s.ser", (x, y) => 300 + 20_000 * sky.gain(x, y));
  const host = await run([sky.path("day"), "-o", sky.path("out"), "--json"]);
  expect(host.exitCode, host.out + host.err).toBe(0);
  const row = host.json.files.find(({ file }: { file: string }) => file === "sun/s.ser");
  expect(row).toMatchObject({ ended: "written", frames: 5, why: expect.stringContaining("no header tells") });
  using ser = SerFile.open(sky.path("out/images/sun/s.ser"));
  const raw = new Uint8Array(ser.frameBytes);
  ser.readRaw(2, raw);
  const pixels = ser.decode(raw);
  const mean = pixels.reduce((sum, value) => sum + value, 0) / pixels.length;
  expect(Math.max(...Array.from(pixels, (value) => Math.abs(value / mean - 1)))).toBeLessThan(0.01);
});
