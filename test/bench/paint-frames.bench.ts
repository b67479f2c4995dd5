import { ScenePainter } from "../../sim-devices/scene/painter.ts";
import type { ExposureAsk, LightPath } from "../../sim-devices/scene/painter-contract.ts";
import { demoScene } from "../../sim-devices/scene/spec/demo-scene.ts";
import { overrideScene } from "../../sim-devices/scene/spec/override-scene.ts";

/** Time to paint one frame of the demo scene, by kind of frame and by size: a simulated rig must not hold a run up. */
const rounds = 15;

for (const [widthPx, heightPx] of [
  [640, 480],
  [1280, 960],
  [3840, 2160],
] as const) {
  const spec = overrideScene(demoScene, {
    camera: { widthPx, heightPx, pixelMicron: (4.8 * 960) / heightPx },
    startsWith: { region: { widthPx, heightPx } },
  });
  const start = performance.now();
  const painter = new ScenePainter(spec);
  console.log(`${widthPx} x ${heightPx}: ${(performance.now() - start).toFixed(0)} ms to set up`);
  const light: LightPath = {
    sunEastArcsec: 100,
    sunNorthArcsec: -50,
    smearEastArcsec: 0,
    smearNorthArcsec: 0,
    sunAltitudeDegrees: 60,
    sunSemidiameterArcsec: 944,
    sunPoleDegrees: 10,
    coverOpenFraction: 1,
    diffuserInPlace: false,
    focusSteps: spec.focuser.bestSteps,
    wheelSlot: 1,
    rotatorDegrees: 0,
    transparency: 1,
  };
  const measure = (what: string, seconds: number, change: (frame: number) => Partial<LightPath>) => {
    const times = Array.from({ length: rounds + 1 }, (_, frameNumber) => {
      const ask: ExposureAsk = {
        seconds,
        frameType: "light",
        gain: 0,
        offset: 40,
        binning: 1,
        region: { xPx: 0, yPx: 0, widthPx, heightPx },
        sensorCelsius: 0,
        frameNumber,
      };
      const begin = performance.now();
      painter.paint({ ...light, ...change(frameNumber) }, ask);
      return performance.now() - begin;
    });
    const later = times.slice(1).sort((a, b) => a - b);
    const median = later[later.length >> 1]!;
    const text = `first ${times[0]!.toFixed(0)} ms, median ${median.toFixed(1)} ms, worst ${later.at(-1)!.toFixed(1)} ms`;
    console.log(`  ${what.padEnd(22)} ${text}`);
  };
  measure("Sun, still", 0.003, () => ({}));
  measure("Sun, moving", 0.003, (n) => ({ sunEastArcsec: 3 * n }));
  measure("Sun, smeared by 5 px", 0.003, (n) => ({ sunEastArcsec: 3 * n, smearEastArcsec: 13 }));
  measure("Sun, far out of focus", 0.003, (n) => ({
    focusSteps: spec.focuser.bestSteps + 600,
    sunEastArcsec: 3 * n,
  }));
  measure("diffuser", 0.3, () => ({ diffuserInPlace: true }));
  measure("covered", 0.3, () => ({ coverOpenFraction: 0 }));
}
