import { writeFileSync } from "node:fs";
import { expect, test } from "vitest";
import { registerCombine } from "../../../agent/commands/combine.ts";
import { registerInspect } from "../../../agent/commands/inspect.ts";
import type { Inspection } from "../../../agent/files/inspect/inspect-file.ts";
import { readAsFlat, readPicture } from "../../../agent/files/inspect/inspected-picture.ts";
import { ccdHdus } from "../../../drivers/formats/ccd-image.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { evenfield } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

const inspect = (args: readonly string[]) => evenfield(registerInspect, ["inspect", ...args]);
const flatCards = [{ keyword: "IMAGETYP", value: "FLAT" }];

const largeSky = (seed: number) => new SkyFiles(seed, 320, 240);

const figure = (file: Inspection, id: string) => file.figures.find((one) => one.id === id);
const measure = (file: Inspection, name: string) => file.measures.find((one) => one.name === name);

test("a well exposed flat is good but for its light, and its vignetting and noise are those that were put in", async () => {
  using sky = largeSky(1);
  const flat = sky.write("flat.fits", (x, y) => 50_000 * sky.gain(x, y), { noise: 400, cards: flatCards });
  const host = await inspect([flat, "--json"]);
  expect(host.exitCode).toBe(0);
  const [file] = host.json.files;
  expect(file).toMatchObject({ kind: "flat", verdict: "usable", frameCount: 1 });
  expect(file.reasons, "nobody looked at its light").toEqual([
    expect.stringContaining("light was not proved"),
  ]);
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

test("a master is judged by how its frames agreed, which its header tells", async () => {
  using sky = largeSky(14);
  const files = Array.from({ length: 16 }, (_, index) => {
    const tilt = index < 8 ? 0 : 0.006;
    return sky.write(`f${index}.fits`, (x, y) => 50_000 * sky.gain(x, y) * (1 + (tilt * x) / 320), {
      noise: 300,
      cards: flatCards,
    });
  });
  await evenfield(registerCombine, ["combine", ...files, "-o", sky.path("m.fits")]);
  const [file] = (await inspect([sky.path("m.fits"), "--json"])).json.files;
  // A tilt's rms is its height over the root of 12.
  expect(Math.abs(figure(file, "drift")!.value / (0.006 / Math.sqrt(12)) - 1)).toBeLessThan(0.1);
  expect(figure(file, "drift")!.verdict).toBe("usable");
  expect(figure(file, "evenOdd")!.verdict).toBe("good");
  expect(figure(file, "clipped")).toMatchObject({ value: 0, verdict: "good" });
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

test("the middle of a deep shadow is not taken for dead pixels where a master's own mask trusts it", () => {
  using sky = largeSky(15);
  const depth = (x: number, y: number) => 1 - 0.55 * Math.exp(-((x - 160) ** 2 + (y - 176) ** 2) / 8);
  const gain = Float32Array.from({ length: 320 * 240 }, (_, i) => depth(i % 320, Math.floor(i / 320)));
  const [sigma, mask] = [gain.map(() => 0.001), new Uint8Array(gain.length)];
  const isMaskedIn = (unit: "" | "adu", parts: object = { mask }) => {
    const flat = ccdHdus(
      { widthPx: 320, heightPx: 240, data: gain, sigma, ...parts },
      { unit, cards: flatCards },
    );
    writeFitsFile(sky.path("m.fits"), flat, { writtenUtcMs: 0, replace: true });
    return readAsFlat(readPicture(sky.path("m.fits")).picture)!.mask.some((bits) => bits !== 0);
  };
  expect(isMaskedIn("")).toBe(false);
  expect(isMaskedIn("", {})).toBe(true); // no mask: nothing shows that its maker looked for dead pixels
  expect(isMaskedIn("adu")).toBe(true); // nobody has looked at its pixels yet
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

test("a flat's dust is listed with its distance, its fringes with period and advice", async () => {
  using sky = largeSky(8);
  const cards = [
    ...flatCards,
    { keyword: "FOCALLEN", value: 800 },
    { keyword: "APTDIA", value: 100 },
    { keyword: "XPIXSZ", value: 4 },
    { keyword: "EGAIN", value: 0.4 },
    { keyword: "WAVELEN", value: 656.28 },
  ];
  const turn = Math.PI / 6;
  const wave = (x: number, y: number) =>
    1 + 0.004 * Math.cos((2 * Math.PI * (x * Math.cos(turn) + y * Math.sin(turn))) / 12);
  const shadow = (x: number, y: number) => (Math.hypot(x - 200, y - 150) < 10 ? 0.95 : 1);
  const flat = sky.write("flat.fits", (x, y) => 50_000 * sky.gain(x, y) * shadow(x, y) * wave(x, y), {
    noise: 360,
    cards,
  });
  const host = await inspect([flat, "--json"]);
  const [file] = host.json.files;
  const seen = file.flatDetails.dust.find(
    (one: { xPx: number; yPx: number }) => Math.hypot(one.xPx - 200, one.yPx - 150) < 2,
  );
  expect(seen.distanceMm).toBeCloseTo((seen.diameterPx * 4 * 8) / 1000, 9);
  expect(Math.abs(seen.diameterPx - 20)).toBeLessThan(1.5);
  expect(Math.abs(measure(file, "fringe period")!.value - 12)).toBeLessThan(0.1);
  expect(Math.abs(measure(file, "fringe direction")!.value - 30)).toBeLessThan(0.5);
  expect(figure(file, "fringes")).toMatchObject({ verdict: "usable" });
  expect(file.reasons.join()).toContain("Tilt the camera by 2 to 5 degrees");
  // λ / 2 over 12 px of 4 µm, in radians.
  const airArcmin = (0.65628 / 2 / 48) * (180 / Math.PI) * 60;
  expect(measure(file, "angle between faces with air between")!.value / airArcmin).toBeCloseTo(1, 2);
  expect(file.reasons.join()).toContain(`${airArcmin.toPrecision(2)} arcmin from parallel`);
  // A single frame can't tell noise from its pixels' own response.
  expect(figure(file, "photonLimit")).toBeUndefined();
  const closer = await inspect([flat, "--focal-ratio", "16", "--json"]);
  const [other] = closer.json.files;
  expect(other.flatDetails.dust[0].distanceMm / file.flatDetails.dust[0].distanceMm).toBeCloseTo(2, 6);
});

test("an image of 12-bit codes in 16-bit words: depth and step are told, a stretched one is bad", async () => {
  using sky = largeSky(9);
  const coarse = sky.write(
    "coarse.fits",
    (x, y) => 16 * Math.round(1500 * sky.gain(x, y) + sky.random.gauss() * 30),
  );
  const [file] = (await inspect([coarse, "--json"])).json.files;
  expect(file.codes).toMatchObject({ depthBits: 12, stepAdu: 16, dialect: "even steps" });
  expect(figure(file, "tonalStep")!.verdict).toBe("good");
  const stretched = sky.write("stretched.fits", (x, y) =>
    Math.round(1.3 * Math.round(1500 * sky.gain(x, y) + sky.random.gauss() * 60)),
  );
  const [bad] = (await inspect([stretched, "--json"])).json.files;
  expect(figure(bad, "missingCodes")!.verdict).toBe("bad");
  expect(bad.reasons.join()).toContain("switch off gamma");
});

test("two flats and two darks among the files tell the sensor, and that the header is wrong about it", async () => {
  using sky = new SkyFiles(10, 160, 120);
  const [electronsPerAdu, readElectrons, pedestalAdu] = [0.5, 9, 900];
  const settings = [
    { keyword: "GAIN", value: 0 },
    { keyword: "EXPTIME", value: 0.02 },
  ];
  const noisy = (electrons: number) =>
    pedestalAdu +
    (electrons + Math.hypot(readElectrons, Math.sqrt(electrons)) * sky.random.gauss()) / electronsPerAdu;
  const flat = (name: string) =>
    sky.write(name, (x, y) => noisy(22_000 * sky.gain(x, y)), {
      cards: [...flatCards, ...settings, { keyword: "EGAIN", value: 0.8 }],
    });
  const dark = (name: string, gain = 0) =>
    sky.write(name, () => noisy(0), {
      cards: [{ keyword: "IMAGETYP", value: "DARK" }, { keyword: "GAIN", value: gain }, settings[1]!],
    });
  const files = [flat("f1.fits"), dark("d1.fits"), flat("f2.fits"), dark("other.fits", 7), dark("d2.fits")];
  const host = await inspect([...files, "--json"]);
  const { sensor } = host.json;
  expect(sensor).toMatchObject({ darks: [files[1], files[4]], statedElectronsPerAdu: 0.8 });
  expect(new Set(sensor.flats)).toEqual(new Set([files[0], files[2]]));
  expect(Math.abs(sensor.electronsPerAdu - electronsPerAdu)).toBeLessThan(4 * sensor.electronsPerAduSigma);
  expect(sensor.electronsPerAduSigma / electronsPerAdu).toBeLessThan(0.02);
  expect(Math.abs(sensor.readNoiseElectrons / readElectrons - 1)).toBeLessThan(0.05);
  expect(Math.abs(sensor.saturationElectrons / (0.5 * (65_535 - 900)) - 1)).toBeLessThan(0.06);
  // 81 electrons are as noisy as reading out: 162 adu above the pedestal.
  expect(Math.abs(sensor.photonNoiseFromAdu - 1062)).toBeLessThan(20);
  const told = (await inspect(files)).out;
  expect(told).toContain("where the flats' header says 0.8");
  expect(told).toMatch(/read noise [89]\.\d+ electrons; photons outweigh it from 10\d\d\.?\d* adu on/);
  // One dark of this setting is no pair.
  expect((await inspect([...files.slice(0, 4), "--json"])).json.sensor).toBeUndefined();
});
