import { expect, test } from "vitest";
import {
  brightnessAtMu,
  brightnessAtRadius,
  limbDarkening,
  meanOverCentre,
  radiusForDrop,
  slopeAtCentre,
} from "../../agent/imaging/disc/limb-darkening.ts";
import { check, checksOf } from "./check.ts";

/** Sources: Neckel & Labs, Solar Physics 153 (1994) 91, table 1; Neckel, Solar Physics 229 (2005) 13. */
test.each(checksOf("limb.neckel-labs-1994."))("$id: the polynomial", ({ inputs, expected, tolerance }) => {
  inputs.mu.forEach((mu: number, i: number) => {
    expect(Math.abs(brightnessAtMu(inputs.a, mu) - expected.intensity[i])).toBeLessThan(tolerance.abs);
  });
  expect(Math.abs(meanOverCentre(inputs.a) - expected.meanToCentre)).toBeLessThan(tolerance.abs);
  // The two papers are independent fits to the same observations.
  const later = limbDarkening(inputs.wavelengthNm);
  expect(Math.abs(meanOverCentre(later) - expected.meanToCentre)).toBeLessThan(0.01);
});

test("any wavelength: coefficients, brightness, slope and mean at 656.28 nm", () => {
  const { inputs, expected, tolerance } = check("limb.neckel-2005.656.28");
  const a = limbDarkening(inputs.wavelengthUm * 1000);
  a.forEach((value, k) => {
    expect(Math.abs(value - expected.a[k])).toBeLessThan(tolerance.abs);
  });
  inputs.mu.forEach((mu: number, i: number) => {
    expect(Math.abs(brightnessAtMu(a, mu) - expected.intensity[i])).toBeLessThan(tolerance.abs);
  });
  expect(Math.abs(slopeAtCentre(a) - expected.slopeAtCentre)).toBeLessThan(tolerance.abs);
  expect(Math.abs(meanOverCentre(a) - expected.meanToCentre)).toBeLessThan(tolerance.abs);
});

test("how far from the centre the brightness has dropped by a fraction", () => {
  const { inputs, expected, tolerance } = check("limb.radius-for-drop");
  const a = limbDarkening(inputs.wavelengthUm * 1000);
  inputs.drop.forEach((drop: number, i: number) => {
    expect(Math.abs(radiusForDrop(a, drop) - expected.radiusOverR[i])).toBeLessThan(tolerance.abs);
  });
});

test("the mean over a disc of pointings keeps the curvature, and an offset tilts it", () => {
  const { inputs, expected, tolerance } = check("limb.drift-average");
  const a = limbDarkening(656.28);
  const half = inputs.halfWidthOverR;
  /** Mean brightness at a frame position over pointings spread evenly on a disc. */
  const mean = (x: number, y: number, spread: number, offset: number) => {
    let sum = 0;
    let count = 0;
    for (let r = 0.5; r < 40; r++) {
      const turns = 96;
      for (let k = 0; k < turns; k++) {
        const radius = (r / 40) * spread;
        const angle = (2 * Math.PI * k) / turns;
        const at = Math.hypot(x + offset + radius * Math.cos(angle), y + radius * Math.sin(angle));
        sum += r * brightnessAtRadius(a, at);
        count += r;
      }
    }
    return sum / count;
  };
  inputs.driftRadiusOverR.forEach((spread: number, i: number) => {
    const ratio = mean(half, half, spread, 0) / mean(0, 0, spread, 0);
    expect(Math.abs(ratio - expected.cornerToCentre[i])).toBeLessThan(tolerance.abs);
    const gradient = mean(-half, 0, spread, 0.02) - mean(half, 0, spread, 0.02);
    expect(Math.abs(gradient / mean(0, 0, spread, 0.02) - expected.gradientForOffset002R[i])).toBeLessThan(
      tolerance.abs,
    );
  });
});
