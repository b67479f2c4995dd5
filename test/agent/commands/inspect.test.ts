import { writeFileSync } from "node:fs";
import { expect, test } from "vitest";
import { registerCombine } from "../../../agent/commands/combine.ts";
import { registerInspect } from "../../../agent/commands/inspect.ts";
import type { Inspection } from "../../../agent/files/inspect-file.ts";
import { evenfield } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

const inspect = (args: readonly string[]) => evenfield(registerInspect, ["inspect", ...args]);
const flatCards = [{ keyword: "IMAGETYP", value: "FLAT" }];

const largeSky = (seed: number) => new SkyFiles(seed, 320, 240);

const figure = (file: Inspection, id: string) => file.figures.find((one) => one.id === id);
const measure = (file: Inspection, name: string) => file.measures.find((one) => one.name === name);

test("a well exposed flat is good, and its vignetting and noise are those that were put in", async () => {
  using sky = largeSky(1);
  const flat = sky.write("flat.fits", (x, y) => 50_000 * sky.gain(x, y), { noise: 400, cards: flatCards });
  const host = await inspect([flat, "--json"]);
  expect(host.exitCode).toBe(0);
  const [file] = host.json.files;
  expect(file).toMatchObject({ kind: "flat", verdict: "good", reasons: [], frameCount: 1 });
  expect(measure(file, "noise of a pixel")!.value).toBeCloseTo((100 * 400) / 50_000, 1);
  // Corner boxes of 5 % lie about 0.475 from the centre in both directions.
  const corner = (1.05 - 0.4 * 2 * 0.475 ** 2) / 1.05;
  expect(Math.abs(figure(file, "corner")!.value - corner)).toBeLessThan(0.01);
});

test("a flat that clips is bad, the exit code says so, and the reason is told", async () => {
  using sky = largeSky(2);
  const flat = sky.write("flat.fits", (x, y) => 64_000 * sky.gain(x, y), { noise: 400, cards: flatCards });
  const host = await inspect([flat, "--json"]);
  expect(host.exitCode).toBe(3);
  expect(host.json).toMatchObject({ verdict: "bad", failed: [] });
  expect(host.json.files[0].reasons.join()).toContain("clipped healthy pixels");
});

test("a thin flat is bad for its upper edge", async () => {
  using sky = largeSky(3);
  const flat = sky.write("flat.fits", (x, y) => 10_000 * sky.gain(x, y), { noise: 200, cards: flatCards });
  const host = await inspect([flat]);
  expect(host.exitCode).toBe(3);
  expect(host.out).toMatch(
    /bad +upper edge over full scale 0\.1[5-7]\d* \(good 0\.75 to 0\.9, usable 0\.5 to 0\.95\)/,
  );
});

test("a master of few frames is judged by its noise", async () => {
  using sky = largeSky(4);
  const files = Array.from({ length: 9 }, (_, index) =>
    sky.write(`f${index}.fits`, (x, y) => 50_000 * sky.gain(x, y), { noise: 450, cards: flatCards }),
  );
  await evenfield(registerCombine, ["combine", ...files, "-o", sky.path("m.fits"), "--method", "mean"]);
  const host = await inspect([sky.path("m.fits"), "--json"]);
  const [file] = host.json.files;
  expect(file).toMatchObject({ kind: "flat", frameCount: 9, type: "float32", verdict: "usable" });
  expect(Math.abs(figure(file, "noise")!.value - 0.003)).toBeLessThan(0.0004);
  expect(figure(file, "noise")!.verdict).toBe("usable");
});

test("a dark that touches zero is told", async () => {
  using sky = largeSky(5);
  const cards = [{ keyword: "IMAGETYP", value: "Dark Frame" }];
  const low = await inspect([sky.write("low.fits", () => 3, { noise: 3, cards }), "--json"]);
  expect(low.exitCode).toBe(3);
  expect(low.json.files[0]).toMatchObject({ kind: "dark", verdict: "bad" });
  const high = await inspect([sky.write("high.fits", () => 100, { noise: 3, cards }), "--json"]);
  expect(high.json.files[0].verdict).toBe("good");
});

test("a file that cannot be read is left out and told; the others are judged", async () => {
  using sky = largeSky(6);
  writeFileSync(sky.path("text.fits"), "hello");
  const image = sky.write("sun.fits", () => 5000, { noise: 50 });
  const host = await inspect([sky.path("text.fits"), image, "--json"]);
  expect(host.exitCode).toBe(2);
  expect(host.json.files).toHaveLength(1);
  expect(host.json.files[0]).toMatchObject({ kind: "image", verdict: "good" });
  expect(Math.abs(measure(host.json.files[0], "noise from neighbours")!.value - 50)).toBeLessThan(3);
  expect(host.json.failed[0].happened).toContain("not a FITS file");
});

test("a flat without light is bad, not a fault", async () => {
  using sky = largeSky(7);
  const host = await inspect([sky.write("flat.fits", () => 0, { cards: flatCards })]);
  expect(host.exitCode).toBe(3);
  expect(host.out).toContain("upper edge over full scale 0 ");
});
