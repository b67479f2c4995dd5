import { expect, test } from "vitest";
import { RealFft2d } from "../../../../agent/imaging/numerics/fft.ts";
import { loadFft } from "../../../../agent/imaging/numerics/fft-library.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { plainColumns } from "../../../reference/fft-columns.ts";

const library = await loadFft();
const seed = 20261128;

function largest(values: Iterable<number>): number {
  let most = 0;
  for (const value of values) most = Math.max(most, Math.abs(value));
  return most;
}

/** All small factors, alone and together, and columns that fill whole groups of four or sixteen or do not. */
const sizes = [32, 64, 96, 128, 160, 288, 480, 512, 960, 2048].map((heightPx, k) => ({
  widthPx: [32, 64, 96, 160][k % 4]!,
  heightPx,
}));

test("columns by SIMD are the library's, there and back", () => {
  const random = new Random(seed);
  for (const shape of sizes) {
    const picture = Float32Array.from({ length: shape.widthPx * shape.heightPx }, () => 1 + random.gauss());
    using compiled = new RealFft2d(library, shape);
    using plain = new RealFft2d(library, shape, plainColumns);
    const [ours, theirs] = [compiled.newSpectrum(), plain.newSpectrum()];
    compiled.forward(picture, ours);
    plain.forward(picture, theirs);
    const what = `${shape.widthPx} x ${shape.heightPx}, seed ${seed}`;
    const apart = largest(ours.map((value, i) => value - theirs[i]!));
    expect(apart / largest(theirs), what).toBeLessThan(3e-7);
    for (const [transform, spectrum] of [
      [compiled, theirs],
      [plain, ours],
    ] as const) {
      const back = new Float32Array(picture.length);
      transform.inverse(spectrum, back);
      expect(largest(back.map((value, i) => value - picture[i]!)), what).toBeLessThan(5e-6);
    }
  }
});

test("many sizes at once, and again, keep out of each other's memory", () => {
  const random = new Random(seed);
  const pictures = sizes.map(({ widthPx, heightPx }) =>
    Float32Array.from({ length: widthPx * heightPx }, () => random.gauss()),
  );
  const transforms = sizes.map((shape) => new RealFft2d(library, shape));
  const spectra = transforms.map((transform) => transform.newSpectrum());
  for (let turn = 0; turn < 2; turn++) {
    for (const [k, transform] of transforms.entries()) transform.forward(pictures[k]!, spectra[k]!);
    for (const [k, transform] of transforms.entries()) {
      const back = new Float32Array(pictures[k]!.length);
      transform.inverse(spectra[k]!, back);
      expect(largest(back.map((value, i) => value - pictures[k]![i]!)), `seed ${seed}`).toBeLessThan(5e-6);
    }
  }
  for (const transform of transforms) transform[Symbol.dispose]();
});
