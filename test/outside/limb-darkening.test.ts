import { expect, test } from "vitest";
import {
  brightnessAtMu,
  brightnessAtRadius,
  type LimbDarkening,
  limbDarkening,
} from "../../agent/imaging/disc/limb-darkening.ts";
import { check, checksOf } from "./check.ts";

/** Mean brightness of the disc over that of its centre, over rings of equal area. */
function meanToCentre(a: LimbDarkening): number {
  const steps = 100_000;
  let sum = 0;
  for (let k = 0; k < steps; k++) sum += brightnessAtRadius(a, Math.sqrt((k + 0.5) / steps));
  return sum / steps;
}

/** Sources: Neckel & Labs, Solar Physics 153 (1994) 91, table 1; Neckel, Solar Physics 229 (2005) 13. */
test.each(checksOf("limb.neckel-labs-1994."))("$id: the polynomial", (one) => {
  const { inputs, expected } = one;
  one.agrees(
    "intensity",
    inputs.mu.map((mu: number) => brightnessAtMu(inputs.a, mu)),
  );
  one.agrees("meanToCentre", meanToCentre(inputs.a));
  // The two papers are independent fits to the same observations.
  expect(Math.abs(meanToCentre(limbDarkening(inputs.wavelengthNm)) - expected.meanToCentre)).toBeLessThan(
    0.01,
  );
});

test("any wavelength: coefficients, brightness, slope and mean at 656.28 nm", () => {
  const one = check("limb.neckel-2005.656.28");
  const a = limbDarkening(one.inputs.wavelengthUm * 1000);
  one.agrees("a", a);
  one.agrees(
    "intensity",
    one.inputs.mu.map((mu: number) => brightnessAtMu(a, mu)),
  );
  const step = 1e-4;
  one.agrees("slopeAtCentre", (brightnessAtMu(a, 1 + step) - brightnessAtMu(a, 1 - step)) / (2 * step));
  one.agrees("meanToCentre", meanToCentre(a));
});

test("how far from the centre the brightness has dropped by a fraction", () => {
  const one = check("limb.radius-for-drop");
  const a = limbDarkening(one.inputs.wavelengthUm * 1000);
  const radiusForDrop = (drop: number) => {
    let [inside, outside] = [0, 1];
    while (outside - inside > 1e-9) {
      const middle = (inside + outside) / 2;
      if (1 - brightnessAtRadius(a, middle) < drop) inside = middle;
      else outside = middle;
    }
    return inside;
  };
  one.agrees("radiusOverR", one.inputs.drop.map(radiusForDrop));
});

test("the mean over a disc of pointings keeps the curvature, and an offset tilts it", () => {
  const one = check("limb.drift-average");
  const a = limbDarkening(656.28);
  const half = one.inputs.halfWidthOverR;
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
  const spreads: number[] = one.inputs.driftRadiusOverR;
  one.agrees(
    "cornerToCentre",
    spreads.map((spread) => mean(half, half, spread, 0) / mean(0, 0, spread, 0)),
  );
  one.agrees(
    "gradientForOffset002R",
    spreads.map(
      (spread) => (mean(-half, 0, spread, 0.02) - mean(half, 0, spread, 0.02)) / mean(0, 0, spread, 0.02),
    ),
  );
});
