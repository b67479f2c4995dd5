import { expect, test } from "vitest";
import { loadFft } from "../../agent/imaging/numerics/fft.ts";
import { quantile } from "../../agent/imaging/numerics/order-statistics.ts";
import { findFringes } from "../../agent/imaging/proof/fringes.ts";
import { Random } from "../../drivers/kit/random.ts";
import { check } from "./check.ts";

const side = 512;
const shape = { widthPx: side, heightPx: side };
const everywhere = new Uint8Array(side * side).fill(1);
const fft = await loadFft();

/** Vignetted, with 1 % noise and a wave. Recipe of the published check. */
function waved(amplitude: number, periodPx: number, degrees: number, seed: number): Float32Array {
  const random = new Random(seed);
  const turn = (degrees * Math.PI) / 180;
  return Float32Array.from({ length: side * side }, (_, i) => {
    const [x, y] = [i % side, Math.floor(i / side)];
    const r2 = ((x - (side - 1) / 2) ** 2 + (y - (side - 1) / 2) ** 2) / ((side * side) / 2);
    const wave = Math.cos((2 * Math.PI * (x * Math.cos(turn) + y * Math.sin(turn))) / periodPx);
    return (1 + amplitude * wave) * (1 - 0.15 * r2) + 0.01 * random.gauss();
  });
}

test("fringes of 0.3 % and of 0.05 % in 1 % noise: period, direction, amplitude, significance", () => {
  const { inputs, expected, tolerance } = check("fringe.detect");
  inputs.cases.forEach(([amplitude, period, degrees, seed]: [number, number, number, number], k: number) => {
    const { strongest, found } = findFringes(fft, waved(amplitude, period, degrees, seed), everywhere, shape);
    const told = JSON.stringify(strongest);
    expect(Math.abs(strongest!.periodPx / expected.period[k] - 1), told).toBeLessThan(tolerance.periodRel);
    expect(Math.abs(strongest!.degrees - expected.angleDeg[k]), told).toBeLessThan(tolerance.angleDeg);
    expect(Math.abs(strongest!.amplitude / expected.amplitude[k] - 1), told).toBeLessThan(
      tolerance.amplitudeRel,
    );
    expect(Math.abs(strongest!.significance / expected.significance[k] - 1), told).toBeLessThan(
      tolerance.significanceRel,
    );
    expect(found !== undefined).toBe(amplitude > 0.001);
  });
});

test("strongest peaks of noise alone are those of an exponential distribution", () => {
  const { expected } = check("fringe.false-alarm");
  const peaks = Array.from({ length: 24 }, (_, k) => {
    const random = new Random(900 + k);
    const noise = Float32Array.from(everywhere, () => 1 + 0.01 * random.gauss());
    return findFringes(fft, noise, everywhere, shape).strongest!.significance;
  });
  const middle = quantile(peaks, 0.5)!;
  // Of 24 pictures the median is known to about 0.35.
  expect(Math.abs(middle - expected.theory["0.5"])).toBeLessThan(1.1);
  expect(Math.max(...peaks)).toBeLessThan(25);
});
