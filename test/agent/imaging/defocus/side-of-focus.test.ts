import { expect, test } from "vitest";
import { shadowGrowth } from "../../../../agent/imaging/defocus/side-of-focus.ts";
import { findDust } from "../../../../agent/imaging/dust/dust.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { ScenePainter } from "../../../../sim-devices/scene/painter.ts";
import { demoScene } from "../../../../sim-devices/scene/spec/demo-scene.ts";
import { overrideScene } from "../../../../sim-devices/scene/spec/override-scene.ts";

const specks = [
  { xPx: 80, yPx: 60, distanceMm: 1.3, speckMicron: 45, on: "camera" as const },
  { xPx: 210, yPx: 150, distanceMm: 2.6, speckMicron: 75, on: "camera" as const },
];

/** A flat 6 mm from focus and a noisy picture 12 mm from it, under light that falls off to one side. */
function seen(sign: 1 | -1, dust: typeof specks) {
  const scene = overrideScene(demoScene, {
    optics: { apertureMm: 150, focalLengthMm: 1000 },
    camera: { widthPx: 320, heightPx: 240, pixelResponseSd: 0.003 },
    rig: { dust },
    startsWith: { region: { xPx: 0, yPx: 0, widthPx: 320, heightPx: 240 } },
  });
  const painter = new ScenePainter(scene);
  const at = (mm: number) => painter.truth({ focusSteps: scene.focuser.bestSteps + sign * mm * 500 }).flat;
  const random = new Random(3);
  const gain = at(6);
  const pxCount = gain.length;
  const other = at(12).map(
    (value, i) => 20_000 * value * (1 - 1e-4 * (i % 320)) * (1 + 0.0025 * random.gauss()),
  );
  const shape = { widthPx: 320, heightPx: 240 };
  const sigma = new Float32Array(pxCount).fill(1e-3);
  const flat = { shape, gain, sigma, mask: new Uint8Array(pxCount), levelAdu: 1 };
  return shadowGrowth(flat, other, new Uint8Array(pxCount).fill(1), findDust(flat), 1.012 / 1.006);
}

test.each([1, -1] as const)("side %s: the change of two shadows tells it at many sigma", (sign) => {
  const { share, sigma } = seen(sign, specks)!;
  expect(sign * share).toBeGreaterThan(0.7);
  expect(sign * share).toBeLessThan(1.3);
  expect(sigma).toBeLessThan(0.15);
});

test("without dust nothing tells it", () => {
  expect(seen(1, [])).toBeUndefined();
});
