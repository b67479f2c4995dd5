import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { combineFiles } from "../../agent/files/combine/combine-files.ts";
import { runPython } from "./python.ts";

const folder = mkdtempSync(join(tmpdir(), "combine-series-"));
afterAll(() => rmSync(folder, { recursive: true }));
const seed = 20261130;

/** A diffuser series whose truth is kept: light that walks, hits of particles, a cloud's edge over some frames. */
const generator = `
import json, sys, numpy as np
from astropy.io import fits
folder, seed, frames, walk, depth = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), float(sys.argv[4]), float(sys.argv[5])
rng = np.random.default_rng(seed)
h, w, level, per_adu, read = 128, 160, 17000.0, 0.35, 4.0
y, x = np.mgrid[0:h, 0:w]
gain = (1 - 0.3 * ((x / w - 0.5) ** 2 + (y / h - 0.5) ** 2)) * (1 + 0.008 * rng.standard_normal((h, w)))
gain /= gain.mean()
np.save(folder + "/gain.npy", gain)
cloudy = [k for k in range(frames) if depth > 0 and k % 7 == 3]
scales = 1 + walk / 2 * np.sin(np.arange(frames) * 1.3)
paths = []
variance = 0
for k in range(frames):
    light = gain * level * scales[k]
    if k in cloudy:
        light = light * (1 - depth / (1 + np.exp(-(x - w * 0.5) / 8)))
    else:
        variance = variance + (light + read ** 2 + (16 * per_adu) ** 2 / 12) / (level * scales[k]) ** 2
    e = rng.poisson(light) + read * rng.standard_normal((h, w))
    for _ in range(12):
        e[rng.integers(0, h), rng.integers(0, w)] += rng.uniform(60, 6000)
    adu = np.clip(np.round(e / per_adu / 16) * 16, 0, 65520).astype(np.uint16)
    path = f"{folder}/f{k:03d}.fits"
    fits.PrimaryHDU(adu, fits.Header({"IMAGETYP": "Flat Frame", "EXPTIME": 0.5})).writeto(path, overwrite=True)
    paths.append(path)
n = frames - len(cloudy)
np.save(folder + "/limit.npy", np.sqrt(variance) / n)
print(json.dumps({"paths": paths, "cloudy": cloudy}))
`;

/** How both masters compare with the truth: rms over what photons and reading out allow, and share within one sigma. */
const score = `
import json, sys, warnings
warnings.simplefilter("ignore")
import numpy as np, ccdproc, astropy.units as u
from astropy.io import fits
folder, paths = sys.argv[1], sys.argv[2:]
gain, limit = np.load(folder + "/gain.npy"), np.load(folder + "/limit.npy")
def figures(value, sigma, use):
    factor = gain[use].mean() / value[use].mean()
    error = (value * factor - gain)[use]
    return {"rms": float(np.sqrt((error ** 2).mean() / (limit[use] ** 2).mean())),
            "within": float((abs(error) < (sigma * factor)[use]).mean())}
with fits.open(folder + "/master.fits") as ours:
    own = figures(ours[0].data.astype(float), ours["UNCERT"].data.astype(float), ours["MASK"].data == 0)
peer = ccdproc.combine([ccdproc.CCDData.read(path, unit="adu") for path in paths], method="average", dtype=np.float64,
    scale=lambda a: 1 / np.median(a), sigma_clip=True, sigma_clip_low_thresh=3, sigma_clip_high_thresh=3,
    sigma_clip_func=np.ma.median, sigma_clip_dev_func=np.ma.std)
every = np.ones(gain.shape, bool)
print(json.dumps({"ours": own, "peer": figures(np.asarray(peer.data), np.asarray(peer.uncertainty.array), every)}))
`;

test.each([
  { what: "steady light", frames: 20, walk: 0, depth: 0 },
  { what: "light that walks by 3 %", frames: 20, walk: 0.03, depth: 0 },
  { what: "light that walks by 10 %", frames: 20, walk: 0.1, depth: 0 },
  { what: "three frames", frames: 3, walk: 0.02, depth: 0 },
  { what: "five frames", frames: 5, walk: 0.02, depth: 0 },
  { what: "a cloud's edge over some", frames: 20, walk: 0.02, depth: 0.06 },
])("flats, $what: as near to the truth as ccdproc brings them, and sigma says how near", async (series) => {
  const { frames, walk, depth } = series;
  const { paths, cloudy } = runPython(generator, [folder, ...[seed, frames, walk, depth].map(String)]);
  const output = join(folder, "master.fits");
  const result = await combineFiles({ files: paths, output, replace: true, writtenUtcMs: 0 }, () => {});
  expect(result.refusedFrames, `seed ${seed}`).toBe(cloudy.length);
  for (const k of cloudy) expect(result.warnings.join("\n")).toContain(`${paths[k]} was left out`);
  const { ours, peer } = runPython(score, [folder, ...paths]);
  const figures = `seed ${seed}: ${JSON.stringify({ ours, peer })}`;
  expect(ours.rms, figures).toBeLessThan(1.03);
  // Leaving out small hits that the peer keeps in walking light takes 0.3 % of the good values too.
  expect(ours.rms, figures).toBeLessThan(1.012 * peer.rms);
  expect(Math.abs(ours.within - 0.683), figures).toBeLessThan(0.02);
  expect(Math.abs(ours.within - 0.683), figures).toBeLessThan(Math.abs(peer.within - 0.683) + 0.01);
});
