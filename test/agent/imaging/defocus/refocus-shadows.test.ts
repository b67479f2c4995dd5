import { expect, test } from "vitest";
import { refocusDust, refocusShadows } from "../../../../agent/imaging/defocus/refocus-shadows.ts";
import { findDust } from "../../../../agent/imaging/dust/dust.ts";
import { ScenePainter } from "../../../../sim-devices/scene/painter.ts";
import { demoScene } from "../../../../sim-devices/scene/spec/demo-scene.ts";
import { overrideScene } from "../../../../sim-devices/scene/spec/override-scene.ts";

const scene = overrideScene(demoScene, {
  optics: { apertureMm: 150, focalLengthMm: 1000 },
  camera: { widthPx: 320, heightPx: 240, pixelResponseSd: 0.003 },
  rig: {
    dust: [
      { xPx: 80, yPx: 60, distanceMm: 1.3, speckMicron: 45, on: "camera" },
      { xPx: 210, yPx: 150, distanceMm: 2.6, speckMicron: 75, on: "camera" },
    ],
  },
  startsWith: { region: { xPx: 0, yPx: 0, widthPx: 320, heightPx: 240 } },
});
const painter = new ScenePainter(scene);
/** 12 mm behind the focus: the way to the sensor is 1.2 % longer. */
const away = { focusSteps: scene.focuser.bestSteps + 6000 };
const stretch = 1.012;

function flatOf(gain: Float32Array) {
  const shape = { widthPx: 320, heightPx: 240 };
  const sigma = new Float32Array(gain.length).fill(1e-3);
  return { shape, gain, sigma, mask: new Uint8Array(gain.length), levelAdu: 1 };
}

/** Rms of a flat over the pattern in focus. */
function error(gain: Float32Array): number {
  const { flat } = painter.truth();
  const off = gain.map((value, i) => value / flat[i]! - 1);
  const mean = off.reduce((a, b) => a + b) / off.length;
  return Math.sqrt(off.reduce((sum, o) => sum + (o - mean) ** 2, 0) / off.length);
}

test("shadows that the slimmer cone has made smaller and deeper are as in focus again", () => {
  const taken = flatOf(painter.truth(away).flat);
  const dust = findDust(taken);
  const put = refocusShadows(taken, dust, stretch);
  // What is handed on to the proof is what a search in the flat as it was put would find.
  const foundInFocus = findDust(put);
  expect(foundInFocus.length).toBe(dust.length);
  for (const [k, found] of foundInFocus.entries()) {
    const handedOn = refocusDust(dust, stretch)[k]!;
    expect(Math.hypot(found.xPx - handedOn.xPx, found.yPx - handedOn.yPx)).toBeLessThan(0.1);
    expect(Math.abs(found.diameterPx - handedOn.diameterPx)).toBeLessThan(2 * found.diameterSigmaPx);
    expect(Math.abs(found.depth - handedOn.depth)).toBeLessThan(2 * found.depthSigma);
  }
  expect(error(taken.gain)).toBeGreaterThan(1e-4);
  expect(error(put.gain)).toBeLessThan(0.2 * error(taken.gain));
  const changed = put.gain.findIndex((value, i) => Math.abs(value / taken.gain[i]! - 1) > 3e-4);
  expect(put.sigma[changed]!).toBeGreaterThan(taken.sigma[changed]!);
});

test("the wrong side of focus makes it worse; with no side told nothing is changed", () => {
  const taken = flatOf(painter.truth(away).flat);
  expect(error(refocusShadows(taken, findDust(taken), 2 - stretch).gain)).toBeGreaterThan(
    1.5 * error(taken.gain),
  );
  expect(refocusShadows(taken, findDust(taken), 1)).toBe(taken);
});
