import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, expect, test } from "vitest";
import { applyFlat } from "../../agent/files/apply/apply-flat.ts";
import { combineFiles } from "../../agent/files/combine/combine-files.ts";
import type { CombineMethod } from "../../agent/files/combine/open-series.ts";
import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { readFits } from "../../drivers/formats/fits-read.ts";
import { writeFitsFile } from "../../drivers/formats/fits-write.ts";
import { Random } from "../../drivers/kit/random.ts";
import { checkInPart } from "./check.ts";
import { fitsverify, runPython } from "./python.ts";

const folder = mkdtempSync(join(tmpdir(), "fits-combine-"));
afterAll(() => rmSync(folder, { recursive: true }));
const [widthPx, heightPx, frameCount] = [67, 41, 15];
const seed = 20260714;

const files = Array.from({ length: frameCount }, (_, index) => join(folder, `f${index}.fits`));
const darkFile = join(folder, "dark.fits");

beforeAll(() => {
  const random = new Random(seed);
  const frame = (level: number, noise: number) =>
    Uint16Array.from({ length: widthPx * heightPx }, () => {
      const outlier = random.uniform() < 0.01 ? 20_000 * random.uniform() : 0;
      return Math.max(0, Math.round(level + noise * random.gauss() + outlier));
    });
  const hdu = (pixels: Uint16Array) => ({
    pixels,
    shape: [heightPx, widthPx],
    cards: [
      { keyword: "EXPTIME", value: 0.5 },
      { keyword: "BUNIT", value: "adu" },
    ],
  });
  for (const path of files)
    writeFitsFile(path, [hdu(frame(30_000, 170))], { writtenUtcMs: 0, replace: false });
  writeFitsFile(darkFile, [hdu(frame(300, 5))], { writtenUtcMs: 0, replace: false });
});

async function ours(method: CombineMethod, dark?: string) {
  const output = join(folder, `${method}${dark ? "-dark" : ""}.fits`);
  const result = await combineFiles(
    { files, output, method, replace: true, writtenUtcMs: 0, ...(dark ? { darkFile: dark } : {}) },
    () => {},
  );
  return { output, result, image: readCcdImage(output) };
}

/** Largest difference in units of float32's own step at that value. */
function worstInSteps(values: Float32Array, wanted: readonly number[]): number {
  let worst = 0;
  for (let i = 0; i < values.length; i++) {
    const step = 2 ** (Math.floor(Math.log2(Math.abs(wanted[i]!))) - 23);
    worst = Math.max(worst, Math.abs(values[i]! - wanted[i]!) / step);
  }
  return worst;
}

/** The peer's own calls, on the same files, in float64. */
const peer = `
import json, sys, warnings
warnings.simplefilter("ignore")
import numpy as np, ccdproc
files, method = sys.argv[2:], sys.argv[1]
if method == "clipped":
    combined = ccdproc.combine(files, method="average", dtype=np.float64, sigma_clip=True, sigma_clip_low_thresh=3,
        sigma_clip_high_thresh=3, sigma_clip_func=np.ma.median, sigma_clip_dev_func=np.ma.std)
else:
    combined = ccdproc.combine(files, method="average" if method == "mean" else "median", dtype=np.float64)
print(json.dumps(combined.data.ravel().tolist()))
`;

test.each(["mean", "clipped", "median"] as const)(
  "combine --method %s gives what ccdproc.combine gives, to float32 rounding",
  async (method) => {
    const { output, result, image } = await ours(method);
    expect(worstInSteps(image.data, runPython(peer, [method, ...files])), `seed ${seed}`).toBeLessThanOrEqual(
      0.501,
    );
    if (method === "clipped") expect(result.rejectedFraction).toBeGreaterThan(0.005);
    expect(fitsverify([output])).toEqual({ clean: true, text: "" });
  },
);

test("a master as a run makes it is as clean", async () => {
  const { output, result } = await ours("series", darkFile);
  expect(result.method).toBe("series");
  expect(fitsverify([output])).toEqual({ clean: true, text: "" });
});

test("ten frames: what is left out astropy leaves out too, by median and mad_std; and it leaves every lone hit out", async () => {
  const few = files.slice(0, 10);
  const output = join(folder, "few.fits");
  await combineFiles({ files: few, output, method: "clipped", replace: true, writtenUtcMs: 0 }, () => {});
  const peers = runPython(
    `
import json, sys
import numpy as np
from astropy.io import fits
from astropy.stats import sigma_clip
stack = np.array([fits.getdata(f).astype(float) for f in sys.argv[1:]])
left = sigma_clip(stack, sigma=3, cenfunc="median", stdfunc="mad_std", maxiters=1, axis=0)
odd, hit = (stack > 30000 + k * 170 for k in (6, 12))
print(json.dumps({"plain": stack.mean(axis=0).ravel().tolist(), "clipped": left.mean(axis=0).data.ravel().tolist(),
  "without": np.ma.array(stack, mask=odd).mean(axis=0).data.ravel().tolist(),
  "leftOut": left.mask.sum(axis=0).ravel().tolist(), "odd": odd.sum(axis=0).ravel().tolist(),
  "hit": hit.any(axis=0).ravel().tolist()}))`,
    few,
  );
  const value = readCcdImage(output).data;
  const shares = { same: 0, hit: 0, goodLeftOut: 0 };
  for (let px = 0; px < value.length; px++) {
    const leftOut = peers.leftOut[px] - peers.odd[px];
    shares.goodLeftOut += leftOut;
    // Nothing left out there: nothing here.
    if (peers.leftOut[px] === 0) expect(value[px], `px ${px}`).toBe(Math.fround(peers.plain[px]));
    if (!peers.hit[px] || peers.odd[px] > 1) continue; // two of ten widen the spread for both programs
    shares.hit++;
    expect(Math.abs(value[px]! - peers.without[px]), `px ${px}, seed ${seed}`).toBeLessThan(170);
    if (value[px] === Math.fround(peers.clipped[px])) shares.same++;
  }
  expect(shares.hit).toBeGreaterThan(150); // a tenth of the pixels
  expect(shares.same).toBeGreaterThan(0.6 * shares.hit);
  // Plain mad_std leaves 2.8 % of good values out of ten; few-frames.test.ts holds ours to a tenth of it.
  expect(shares.goodLeftOut).toBeGreaterThan(0.02 * 10 * value.length);
});

test("UNCERT is what astropy gets from the kept values: their deviation over the root of their number", () => {
  const wanted = runPython(
    `
import json, sys
import numpy as np
from astropy.io import fits
stack = np.array([fits.getdata(f).astype(float) for f in sys.argv[1:]])
print(json.dumps((stack.std(axis=0) / np.sqrt(len(stack))).ravel().tolist()))`,
    files,
  );
  expect(worstInSteps(readCcdImage(join(folder, "mean.fits")).sigma!, wanted)).toBeLessThanOrEqual(0.501);
});

test("CCDData.read takes the master as it is, and ccdproc.flat_correct divides by it", async () => {
  const { output } = await ours("clipped", darkFile);
  const read = runPython(
    `
import json, sys, warnings
warnings.simplefilter("error")
import numpy as np, ccdproc
from astropy.nddata import CCDData
flat = CCDData.read(sys.argv[1])
image = CCDData(flat.data.astype(float) * 0.5, unit="adu")
divided = ccdproc.flat_correct(image, flat)
print(json.dumps({"unit": str(flat.unit), "spread": float(np.ptp(divided.data) / divided.data.mean()),
  "sigma": type(flat.uncertainty).__name__, "mask": flat.mask.dtype.name, "level": float(np.median(flat.data))}))`,
    [output],
  );
  expect(read).toMatchObject({ unit: "adu", sigma: "StdDevUncertainty", mask: "bool" });
  expect(read.spread).toBeLessThan(1e-6);
  expect(read.level).toBeGreaterThan(29_650);
  expect(read.level).toBeLessThan(29_750); // 30 000 less the dark's 300
});

test("apply divides as ccdproc's subtract_dark and flat_correct do", async () => {
  const { output } = await ours("mean");
  const folderOut = join(folder, "applied");
  await applyFlat(
    {
      flatFile: output,
      darkFile,
      files: [files[0]!],
      outputFolder: folderOut,
      as: "float32",
      despite: new Set(["dark"]), // that of the flat's frames stays in, here and there
      replace: true,
      writtenUtcMs: 0,
    },
    () => {},
  );
  const wanted = runPython(
    `
import json, sys, warnings
warnings.simplefilter("ignore")
import astropy.units as u, ccdproc
from astropy.nddata import CCDData
raw, dark, flat = (CCDData.read(f) for f in sys.argv[1:])
for frame in (raw, dark): frame.data = frame.data.astype(float)
dark_off = ccdproc.subtract_dark(raw, dark, dark_exposure=1 * u.s, data_exposure=1 * u.s)
print(json.dumps(ccdproc.flat_correct(dark_off, flat).data.ravel().tolist()))`,
    [files[0]!, darkFile, output],
  );
  const result = join(folderOut, "f0.fits");
  expect(fitsverify([result])).toEqual({ clean: true, text: "" });
  // Factor and product are each rounded to float32, and the peer's mean of a float32 flat is one too.
  expect(worstInSteps(readCcdImage(result).data, wanted)).toBeLessThan(4);
});

test("ten values of the checks: a mean is dragged, median and clipped are not", async () => {
  const one = checkInPart("combine.ten");
  const paths = one.inputs.values.map((value: number, index: number) => {
    const path = join(folder, `ten-${index}.fits`);
    writeFitsFile(path, [{ pixels: Uint16Array.of(value, value), shape: [1, 2] }], {
      writtenUtcMs: 0,
      replace: false,
    });
    return path;
  });
  const value = async (method: CombineMethod) => {
    const output = join(folder, `ten-${method}.fits`);
    await combineFiles({ files: paths, output, method, replace: false, writtenUtcMs: 0 }, () => {});
    return readFits(readFileSync(output))[0]!.pixels![0]!;
  };
  one.agrees("mean", await value("mean"));
  one.agrees("median", await value("median"));
  one.agrees("clippedMean", await value("clipped"));
});
