import { existsSync, mkdtempSync, readFileSync, renameSync, rmSync, statSync, truncateSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type ApplyRequest, applyFlat } from "../../agent/files/apply/apply-flat.ts";
import { writeFitsFile } from "../../drivers/formats/fits-write.ts";
import { byteOrderOfFlag, utcMsOfTicks } from "../../drivers/formats/ser.ts";
import { SerFile } from "../../drivers/formats/ser-file.ts";
import { systemClock } from "../../drivers/kit/clock.ts";
import { Random } from "../../drivers/kit/random.ts";
import { fitsverify, runPython } from "./python.ts";
import { type StockServer, startStockServer } from "./stock-server.ts";

/** SER files as the INDI library's stream recorder writes them (Debian's indi-bin; its simulator records 16 bits only). */
const folder = mkdtempSync(join(tmpdir(), "ser-outside-"));
const [left, top, widthPx, heightPx, frameCount] = [10, 20, 320, 240, 8];
const sensorBytes = 1280 * 1024 * 2;
const recorded = join(folder, "sun.ser");
let beganMs = 0;
let endedMs = 0;

beforeAll(async () => {
  await using server = await startStockServer({ drivers: ["indi_simulator_ccd"] });
  const set = (assignment: string) => server.setprop(`CCD Simulator.${assignment}`);
  set("CONNECTION.CONNECT=On");
  await until(() => "CCD Simulator.RECORD_STREAM.RECORD_OFF" in server.getprop());
  await takeFits(server);
  set(`CCD_STREAM_FRAME.X;Y;WIDTH;HEIGHT=${left};${top};${widthPx};${heightPx}`);
  set(`RECORD_FILE.RECORD_FILE_DIR;RECORD_FILE_NAME=${folder};sun`);
  set(`RECORD_OPTIONS.RECORD_DURATION;RECORD_FRAME_TOTAL=1;${frameCount}`);
  beganMs = systemClock.nowMs();
  set("RECORD_STREAM.RECORD_FRAME_ON=On");
  await until(isWhole);
  endedMs = systemClock.nowMs();
});

afterAll(() => rmSync(folder, { recursive: true }));

/** One exposure of the whole sensor with the stream's exposure time, written by the driver as FITS. */
async function takeFits(server: StockServer): Promise<void> {
  const set = (assignment: string) => server.setprop(`CCD Simulator.${assignment}`);
  set(`UPLOAD_SETTINGS.UPLOAD_DIR;UPLOAD_PREFIX=${folder};still`);
  set("UPLOAD_MODE.UPLOAD_LOCAL=On");
  set("CCD_EXPOSURE.CCD_EXPOSURE_VALUE=0.1");
  await until(
    () => (statSync(join(folder, "still.fits"), { throwIfNoEntry: false })?.size ?? 0) > sensorBytes,
  );
  set("UPLOAD_MODE.UPLOAD_CLIENT=On"); // with `LOCAL` the recorder may not start
  await until(() => server.getprop()["CCD Simulator.UPLOAD_MODE.UPLOAD_CLIENT"] === "On");
}

async function until(isSo: () => boolean): Promise<void> {
  for (let attempt = 0; attempt < 3000; attempt++) {
    if (isSo()) return;
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
  throw new Error(`not within five minutes: ${isSo}`);
}

function isWhole(): boolean {
  if (!existsSync(recorded)) return false;
  try {
    using ser = SerFile.open(recorded);
    return ser.frameCount === frameCount && ser.stampsTicks() !== undefined;
  } catch {
    return false;
  }
}

test("the recorder's header, frames and times are read right", () => {
  using ser = SerFile.open(recorded);
  expect(ser.header).toMatchObject({ colour: "mono", widthPx, heightPx, depthBits: 16, frameCount });
  const { unpacked, sums } = runPython(
    `
import json, struct, sys
import numpy as np
raw = open(sys.argv[1], "rb").read()
head = struct.unpack("<14siiiiiii40s40s40sqq", raw[:178])
w, h, n = head[4], head[5], head[7]
frames = np.frombuffer(raw, "<u2", w * h * n, 178).reshape(n, h, w)
stamps = np.frombuffer(raw, "<i8", n, 178 + 2 * w * h * n)
text = lambda b: b.split(b"\\0")[0].decode()
print(json.dumps({"unpacked": [text(head[0]), *head[4:8], *map(text, head[8:11]), str(head[12]), *map(str, stamps)],
  "sums": [[int(f.sum()), int(f[7, 9])] for f in frames]}))`,
    [recorded],
  );
  const { header } = ser;
  const stamps = [...ser.stampsTicks()!];
  expect([
    ...[header.fileId, header.widthPx, header.heightPx, header.depthBits, header.frameCount],
    ...[header.observer, header.instrument, header.telescope, String(header.utcTicks), ...stamps.map(String)],
  ]).toEqual(unpacked);
  for (const [index, expected] of sums.entries()) {
    const raw = new Uint8Array(ser.frameBytes);
    ser.readRaw(index, raw);
    const pixels = ser.decode(raw);
    expect([pixels.reduce((sum, count) => sum + count, 0), pixels[7 * widthPx + 9]]).toEqual(expected);
  }
  for (const ticks of [header.utcTicks, ...stamps]) {
    // The recorder's clock is this machine's: a wrong epoch or unit would be days off.
    expect(utcMsOfTicks(ticks)).toBeGreaterThan(beganMs - 1000);
    expect(utcMsOfTicks(ticks)).toBeLessThan(endedMs + 1000);
  }
});

test("a flag of 0 goes with little-endian pixels: read so, they have the level of the driver's FITS image", () => {
  using ser = SerFile.open(recorded);
  expect(ser.header.byteOrderFlag).toBe(0);
  expect([byteOrderOfFlag(0), ser.byteOrder]).toEqual(["little", "little"]);
  const { still, little, big } = runPython(
    `
import json, sys
import numpy as np
from astropy.io import fits
x, y, w, h, n = map(int, sys.argv[3:])
still = fits.getdata(sys.argv[1])[y:y + h, x:x + w]
raw = open(sys.argv[2], "rb").read()
mean = lambda kind: float(np.frombuffer(raw, kind, w * h * n, 178).mean())
print(json.dumps({"still": float(still.mean()), "little": mean("<u2"), "big": mean(">u2")}))`,
    [join(folder, "still.fits"), recorded, ...[left, top, widthPx, heightPx, frameCount].map(String)],
  );
  expect(Math.abs(little / still - 1)).toBeLessThan(0.1);
  expect(big / still).toBeGreaterThan(10);
});

function writeMasters(): { flatFile: string; darkFile: string } {
  const seed = 4;
  const random = new Random(seed);
  const [flatFile, darkFile] = [join(folder, "flat.fits"), join(folder, "dark.fits")];
  const flat = Float32Array.from({ length: widthPx * heightPx }, () => 0.7 + 0.6 * random.uniform());
  const dark = Float32Array.from({ length: widthPx * heightPx }, () => 2 + 2 * random.uniform());
  const how = { writtenUtcMs: 0, replace: true };
  writeFitsFile(flatFile, [{ pixels: flat, shape: [heightPx, widthPx] }], how);
  writeFitsFile(darkFile, [{ pixels: dark, shape: [heightPx, widthPx] }], how);
  return { flatFile, darkFile };
}

async function applied(outputFolder: string, rest: Pick<ApplyRequest, "as" | "files">) {
  const request = { ...writeMasters(), ...rest, outputFolder, replace: false, writtenUtcMs: 0 };
  const result = await applyFlat(request, () => {});
  expect(result.failed).toEqual([]);
  return result.applied[0]!;
}

/** The same by numpy in float64; how far any pixel is off. */
const worst = `
import json, sys
import numpy as np
from astropy.io import fits
folder, out = sys.argv[1:]
flat, dark = (fits.getdata(f"{folder}/{name}.fits").astype(float) for name in ("flat", "dark"))
w, h, n = 320, 240, 8
frames = lambda path, kind: np.frombuffer(open(path, "rb").read(), kind, w * h * n, 178).reshape(n, h, w)
wanted = (frames(f"{folder}/sun.ser", "<u2") - dark) * (flat.mean() / flat)
`;

test("calibrated SER holds what numpy works out of the recorded one, rounded, with its header and times", async () => {
  const { output } = await applied(join(folder, "ser"), { files: [recorded] });
  const { off, same } = runPython(
    `${worst}
made = frames(out, "<u2")
level = round(float(np.median(dark)))
rounded = np.clip(np.floor(wanted + level + 0.5), 0, 65535)
whole = [open(path, "rb").read() for path in (f"{folder}/sun.ser", out)]
print(json.dumps({"off": [int((made != rounded).sum()), float(np.abs(made - (wanted + level).clip(0)).max())],
  "same": whole[0][:178] == whole[1][:178] and whole[0][178 + made.nbytes:] == whole[1][178 + made.nbytes:]}))`,
    [folder, output],
  );
  expect(same).toBe(true);
  expect(off[0]).toBeLessThan(5); // float32 beside float64 at exact halves
  expect(off[1]).toBeLessThan(0.501);
});

test("as a FITS cube it passes fitsverify, and astropy reads frames and times", async () => {
  const { output } = await applied(join(folder, "cube"), { files: [recorded], as: "float32" });
  expect(fitsverify([output])).toEqual({ clean: true, text: "" });
  const { off, seconds, sums } = runPython(
    `${worst}
with fits.open(out, checksum=True) as hdus:
  stamps = np.frombuffer(open(f"{folder}/sun.ser", "rb").read()[-8 * n:], "<i8")
  print(json.dumps({"off": float(np.abs(hdus[0].data - wanted).max()),
    "seconds": float(np.abs(hdus["FRAMETIME"].data - (stamps - stamps[0]) / 1e7).max()),
    "sums": [hdu.verify_datasum() for hdu in hdus]}))`,
    [folder, output],
  );
  expect(off).toBeLessThan(1e-4);
  expect(seconds).toBeLessThan(1e-9);
  expect(sums).toEqual([1, 1]);
});

test("a cube that was broken off and continued passes fitsverify and is what it would have been", async () => {
  const [width, height, count] = [2048, 2048, 7]; // results of 16 MiB a frame: all but 64 MiB is kept
  const random = new Random(5);
  const cube = Uint16Array.from({ length: width * height * count }, () => 5000 + 1000 * random.uniform());
  const flat = Float32Array.from({ length: width * height }, () => 0.7 + 0.6 * random.uniform());
  const how = { writtenUtcMs: 0, replace: true };
  const [flatFile, file] = [join(folder, "large-flat.fits"), join(folder, "large.fits")];
  writeFitsFile(flatFile, [{ pixels: flat, shape: [height, width] }], how);
  writeFitsFile(file, [{ pixels: cube, shape: [count, height, width] }], how);
  const despite = new Set(["dark"] as const);
  const request = { flatFile, files: [file], despite, replace: false, writtenUtcMs: 0 };
  const whole = (await applyFlat({ ...request, outputFolder: join(folder, "whole") }, () => {})).applied[0]!;
  const broken = (await applyFlat({ ...request, outputFolder: join(folder, "broken") }, () => {}))
    .applied[0]!;
  renameSync(broken.output, `${broken.output}.part`);
  truncateSync(`${broken.output}.part`, 2880 + 6.5 * width * height * 4);
  const again = (await applyFlat({ ...request, outputFolder: join(folder, "broken") }, () => {})).applied[0]!;
  expect(again).toMatchObject({ ended: "written", fromFrame: 1 });
  expect(readFileSync(again.output).equals(readFileSync(whole.output))).toBe(true);
  expect(fitsverify([again.output])).toEqual({ clean: true, text: "" });
});
