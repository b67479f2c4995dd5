import { expect, test } from "vitest";
import { ScenePainter } from "../../../../sim-devices/scene/painter.ts";
import { limbDarkening, limbLevel } from "../../../../sim-devices/scene/sun/limb-darkening.ts";
import { ask, lightOn, plainScene } from "../plain-scene.ts";

const muOf = [1, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1];

/** H. Neckel, Solar Phys. 229 (2005) 13, evaluated at two lines; tabulated to four digits. */
const neckel2005: readonly [number, readonly number[]][] = [
  [656.28, [1, 0.9558, 0.9098, 0.8611, 0.8094, 0.7544, 0.6951, 0.6295, 0.5542, 0.4632]],
  [393.37, [1, 0.92, 0.8387, 0.7557, 0.6709, 0.5842, 0.4958, 0.406, 0.3146, 0.2215]],
];

/** H. Neckel & D. Labs, Solar Phys. 153 (1994) 91, table 1: nm, a0 … a5, printed mean over centre. */
const neckelLabs1994: readonly [number, readonly number[], number][] = [
  [390.915, [0.12995, 0.91836, -0.07566, 0.19149, -0.28712, 0.12298], 0.7204],
  [519.93, [0.23695, 1.29927, -1.28034, 1.3776, -0.85054, 0.21706], 0.7925],
  [579.88, [0.28392, 1.36896, -1.75998, 2.22154, -1.56074, 0.4463], 0.8125],
  [640.97, [0.33644, 1.3059, -1.79238, 2.4504, -1.89979, 0.59943], 0.829],
  [669.4, [0.34685, 1.37539, -2.04425, 2.70493, -1.9429, 0.55999], 0.836],
];

test.each(neckel2005)("the profile at %s nm is the published fit's", (nm, levels) => {
  const a = limbDarkening(nm);
  for (const [i, mu] of muOf.entries()) expect(limbLevel(a, mu)).toBeCloseTo(levels[i]!, 4);
});

test.each(neckelLabs1994)(
  "the fit stays near the measured profile at %s nm",
  (nm, measured, meanOverCentre) => {
    const a = limbDarkening(nm);
    expect(a.reduce((sum, value) => sum + value, 0)).toBeCloseTo(1, 4);
    const mean = 2 * a.reduce((sum, value, k) => sum + value / (k + 2), 0);
    expect(Math.abs(mean - meanOverCentre)).toBeLessThan(0.006);
    for (const mu of muOf) {
      const printed = measured.reduce((sum, value, k) => sum + value * mu ** k, 0);
      expect(Math.abs(limbLevel(a, mu) - printed)).toBeLessThan(0.02);
    }
  },
);

test("wavelengths that nobody measured are refused", () => {
  expect(() => limbDarkening(300)).toThrow(RangeError);
});

test.each(neckel2005)("the painted disc at %s nm darkens as published", (nm, levels) => {
  const spec = plainScene({ optics: { wavelengthNm: nm }, sky: { seeingArcsec: 1 } });
  const painter = new ScenePainter(spec);
  const image = painter.expectedElectrons(lightOn(spec), ask(spec));
  const { arcsecPerPx } = painter.truth();
  const radiusPx = 959.23 / arcsecPerPx;
  const rings = new Map<number, { sum: number; mu: number; n: number }>();
  for (let y = 0; y < 240; y++) {
    for (let x = 0; x < 320; x++) {
      const r = Math.hypot(x - 159.5, y - 119.5) / radiusPx;
      if (r >= 0.99) continue;
      const mu = Math.sqrt(1 - r * r);
      const nearest = Math.round(mu * 10);
      if (nearest < 3 || Math.abs(mu - nearest / 10) > 0.012) continue;
      const ring = rings.get(nearest) ?? { sum: 0, mu: 0, n: 0 };
      rings.set(nearest, { sum: ring.sum + image[y * 320 + x]!, mu: ring.mu + mu, n: ring.n + 1 });
    }
  }
  const centre = spec.sun.centreElectronsPerSecond * 0.003;
  expect(rings.size).toBe(8);
  for (const [tenth, { sum, mu, n }] of rings) {
    const shift = mu / n - tenth / 10; // the ring's mean is not quite the tabulated place
    const next = levels[10 - tenth + (shift < 0 ? 1 : -1)] ?? levels[0]!;
    const published = levels[10 - tenth]! + Math.abs(10 * shift) * (next - levels[10 - tenth]!);
    expect(Math.abs(sum / n / centre - published), `mu ${tenth / 10}`).toBeLessThan(0.0015);
  }
});
