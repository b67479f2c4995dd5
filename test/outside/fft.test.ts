import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import { fftLength, RealFft2d } from "../../agent/imaging/numerics/fft.ts";
import { loadFft } from "../../agent/imaging/numerics/fft-library.ts";
import { ShiftFinder } from "../../agent/imaging/registration/shift-finder.ts";
import { Random } from "../../drivers/kit/random.ts";
import { runPython } from "./python.ts";

const fft = await loadFft();
const seed = 20260802;

function noisy(widthPx: number, heightPx: number): Float32Array {
  const random = new Random(seed);
  return Float32Array.from({ length: widthPx * heightPx }, (_, i) => Math.sin(i / 7) + random.gauss());
}

/** Runs a script that reads `a` from a file of float32 and prints a list of numbers. */
function withArray(values: Float32Array, script: string): number[] {
  const folder = mkdtempSync(join(tmpdir(), "fft-"));
  try {
    writeFileSync(join(folder, "a"), values);
    return runPython(
      `import sys, json, numpy as np, scipy.ndimage as nd\na = np.fromfile(sys.argv[1], "<f4")\n${script}`,
      [join(folder, "a")],
    );
  } finally {
    rmSync(folder, { recursive: true });
  }
}

test("the spectrum is numpy's rfft2, and the inverse gives the picture back", () => {
  for (const [widthPx, heightPx] of [
    [32, 32],
    [96, 64],
    [160, 480],
    [288, 320],
  ] as const) {
    const picture = noisy(widthPx, heightPx);
    using transform = new RealFft2d(fft, { widthPx, heightPx });
    const spectrum = transform.newSpectrum();
    transform.forward(picture, spectrum);
    const theirs = withArray(
      picture,
      `s = np.fft.rfft2(a.reshape(${heightPx}, ${widthPx}))\nprint(json.dumps(np.stack([s.real, s.imag], -1).ravel().tolist()))`,
    );
    expect(spectrum.length).toBe(theirs.length);
    const largest = Math.max(...theirs.map(Math.abs));
    const worst = Math.max(...spectrum.map((value, i) => Math.abs(value - theirs[i]!)));
    expect(worst / largest, `${widthPx} x ${heightPx}, seed ${seed}`).toBeLessThan(5e-7); // of float32
    const back = new Float32Array(picture.length);
    transform.inverse(spectrum, back);
    expect(Math.max(...back.map((value, i) => Math.abs(value - picture[i]!)))).toBeLessThan(1e-5);
  }
});

test("a convolution in the Fourier plane is scipy's Gaussian filter", () => {
  const [widthPx, heightPx, sigma] = [160, 96, 3];
  const picture = noisy(widthPx, heightPx);
  using transform = new RealFft2d(fft, { widthPx, heightPx });
  const spectrum = transform.newSpectrum();
  transform.forward(picture, spectrum);
  for (let k = 0; k < spectrum.length / 2; k++) {
    const u = k % transform.spectrumWidth;
    const v = Math.floor(k / transform.spectrumWidth);
    const square = (u / widthPx) ** 2 + (Math.min(v, heightPx - v) / heightPx) ** 2;
    const weight = Math.exp(-2 * Math.PI ** 2 * sigma ** 2 * square);
    spectrum[2 * k]! *= weight;
    spectrum[2 * k + 1]! *= weight;
  }
  const ours = new Float32Array(picture.length);
  transform.inverse(spectrum, ours);
  const theirs = withArray(
    picture,
    `print(json.dumps(nd.gaussian_filter(a.astype("f8").reshape(${heightPx}, ${widthPx}), ${sigma}, mode="wrap", truncate=8).ravel().tolist()))`,
  );
  expect(Math.max(...ours.map((value, i) => Math.abs(value - theirs[i]!)))).toBeLessThan(1e-4);
});

test("a picture shifted by scipy is found where scipy put it", () => {
  const [widthPx, heightPx] = [300, 220];
  const smooth = withArray(
    noisy(widthPx, heightPx),
    `b = nd.gaussian_filter(a.reshape(${heightPx}, ${widthPx}), 2, mode="wrap")\nprint(json.dumps(b.ravel().tolist()))`,
  );
  const picture = Float32Array.from(smooth);
  using finder = new ShiftFinder(fft, { widthPx, heightPx }, { fineSigmaPx: 1.5, coarseSigmaPx: 10 });
  const first = finder.spectrumOf(picture);
  for (const [x, y] of [
    [0, 0],
    [0.25, -0.5],
    [3.37, -5.21],
    [-41.6, 28.9],
  ] as const) {
    const moved = withArray(
      picture,
      `s = nd.fourier_shift(np.fft.fft2(a.reshape(${heightPx}, ${widthPx})), (${y}, ${x}))\nprint(json.dumps(np.fft.ifft2(s).real.ravel().tolist()))`,
    );
    const found = finder.between(first, finder.spectrumOf(Float32Array.from(moved)));
    const told = `${x}, ${y}: found ${found.x}, ${found.y}`;
    // scipy's shift wraps round: the further, the more comes in at the edge that was not there.
    expect(Math.hypot(found.x - x, found.y - y), told).toBeLessThan(0.05 + 0.001 * Math.hypot(x, y));
  }
});

test("lengths: the next product of 32 and small factors", () => {
  expect([1, 32, 33, 100, 640, 700, 1025].map(fftLength)).toEqual([32, 32, 64, 128, 640, 768, 1152]);
  expect(() => new RealFft2d(fft, { widthPx: 48, heightPx: 32 })).toThrow(RangeError);
});
