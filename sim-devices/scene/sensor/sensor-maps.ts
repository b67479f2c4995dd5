import { given } from "../../../drivers/kit/given.ts";
import { Random } from "../../../drivers/kit/random.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";
import { FrameNoise } from "./frame-noise.ts";

/** What is burnt into the sensor, per unbinned pixel. */
export interface SensorMaps {
  /** Response to light, mean near 1: pixel and column non-uniformity, dead pixels. */
  readonly response: Float32Array;
  /** Dark current at the reference temperature [electrons/s]. */
  readonly darkElectronsPerSecond: Float32Array;
  /** Amplifier glow alone, of the same; absent where it does not grow. */
  readonly growingGlowElectronsPerSecond?: Float32Array;
  /** Fixed offset of each column [electrons]. */
  readonly columnOffsetElectrons: Float32Array;
  /** 1 hot, 2 dead, 0 healthy. */
  readonly defects: Uint8Array;
}

export function sensorMaps(spec: SceneSpec): SensorMaps {
  const { camera } = spec;
  const { widthPx, heightPx } = camera;
  const pixels = widthPx * heightPx;
  const noise = new FrameNoise(spec.seed, 0, 77);
  const response = new Float32Array(pixels);
  noise.fillGauss(response, pixels);
  const column = new Float32Array(widthPx);
  noise.fillGauss(column, widthPx);
  const dye = dyes(camera.mosaic);
  for (let y = 0, i = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++, i++) {
      const value =
        dye(x, y) * (1 + camera.pixelResponseSd * response[i]!) * (1 + camera.columnResponseSd * column[x]!);
      response[i] = Math.max(0.05 * dye(x, y), value);
    }
  }

  const dark = new Float32Array(pixels);
  noise.fillGauss(dark, pixels);
  const { electronsPerSecond, unevenness, glowElectronsPerSecond, glowDoublingSeconds } = camera.dark;
  for (let i = 0; i < pixels; i++) dark[i] = electronsPerSecond * Math.max(0, 1 + unevenness * dark[i]!);
  if (glowElectronsPerSecond > 0) addGlow(dark, widthPx, heightPx, glowElectronsPerSecond);
  const glow = glowDoublingSeconds === undefined ? undefined : new Float32Array(pixels);
  if (glow) addGlow(glow, widthPx, heightPx, glowElectronsPerSecond);

  const columnOffsetElectrons = new Float32Array(widthPx);
  noise.fillGauss(columnOffsetElectrons, widthPx);
  for (let x = 0; x < widthPx; x++) columnOffsetElectrons[x]! *= camera.columnOffsetElectronsSd;

  const defects = new Uint8Array(pixels);
  const pick = new Random(spec.seed).fork("defects");
  const { electronsPerSecondMin, electronsPerSecondMax } = camera.hotPixels;
  const spread = Math.log(Math.max(electronsPerSecondMax, 1e-9) / Math.max(electronsPerSecondMin, 1e-9));
  for (let n = Math.round(camera.hotPixels.fraction * pixels); n > 0; n--) {
    const i = pick.whole(0, pixels - 1);
    dark[i] = electronsPerSecondMin * Math.exp(spread * pick.uniform()); // many warm, few very hot
    defects[i] = 1;
  }
  for (let n = Math.round(camera.deadPixels.fraction * pixels); n > 0; n--) {
    const i = pick.whole(0, pixels - 1);
    response[i]! *= camera.deadPixels.response;
    defects[i] = 2;
  }
  return {
    response,
    darkElectronsPerSecond: dark,
    ...given({ growingGlowElectronsPerSecond: glow }),
    columnOffsetElectrons,
    defects,
  };
}

/** What the filter array lets through to a pixel. */
function dyes(mosaic: SceneSpec["camera"]["mosaic"]): (x: number, y: number) => number {
  if (!mosaic) return () => 1;
  const { red, green, blue } = mosaic;
  const levels = mosaic.pattern.split("").map((colour) => ({ R: red, G: green, B: blue })[colour]!);
  return (x, y) => levels[2 * (y & 1) + (x & 1)]!;
}

function addGlow(dark: Float32Array, widthPx: number, heightPx: number, peak: number): void {
  const reach = widthPx / 6;
  for (let y = 0, i = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++, i++) dark[i]! += peak * Math.exp(-Math.hypot(x, y) / reach);
  }
}
