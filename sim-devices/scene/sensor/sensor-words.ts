import type { SceneSpec } from "../spec/scene-spec.ts";

type CameraSpec = SceneSpec["camera"];

/** Highest code of the converter. */
export function topCode(camera: CameraSpec): number {
  return 2 ** camera.bits - 1;
}

/** The word sent for every code of the converter, in the camera's dialect. */
export function wordTable(camera: CameraSpec): Uint16Array {
  const top = topCode(camera);
  const shift = 16 - camera.bits;
  const table = new Uint16Array(top + 1);
  for (let code = 0; code <= top; code++) {
    table[code] =
      camera.words === "plain"
        ? code
        : camera.words === "shifted"
          ? code << shift
          : camera.words === "repeated"
            ? (code << shift) | ((code << shift) >> camera.bits)
            : Math.round((code * 65535) / top);
  }
  return table;
}

/** Words for one code, on average over the range. */
export function wordsPerCode(camera: CameraSpec): number {
  if (camera.words === "plain") return 1;
  return camera.words === "shifted" ? 2 ** (16 - camera.bits) : 65535 / topCode(camera);
}

/** Electrons for one step of the converter. */
export function electronsPerCode(camera: CameraSpec, gain: number): number {
  return camera.electronsPerCodeAtGain0 * 10 ** (-gain / camera.gainUnitsPerTenfold);
}

/** Read noise [electrons]: the part behind the amplifier counts for less at higher gain. */
export function readNoiseElectrons(camera: CameraSpec, gain: number): number {
  const { beforeGain, afterGain } = camera.readNoiseElectrons;
  return Math.hypot(beforeGain, afterGain * 10 ** (-gain / camera.gainUnitsPerTenfold));
}

/** Times the reference dark current at this temperature. */
export function darkFactor(camera: CameraSpec, sensorCelsius: number): number {
  return 2 ** ((sensorCelsius - camera.dark.atCelsius) / camera.dark.doublingCelsius);
}

/** Codes of square bins: summed and clipped, or averaged and rounded down, as the camera does it. */
export function binCodes(
  codes: Uint16Array,
  widthPx: number,
  heightPx: number,
  binning: number,
  camera: CameraSpec,
): Uint16Array {
  const binnedWidth = Math.floor(widthPx / binning);
  const binnedHeight = Math.floor(heightPx / binning);
  const out = new Uint16Array(binnedWidth * binnedHeight);
  const top = topCode(camera);
  const divisor = camera.binningMode === "sum" ? 1 : binning * binning;
  for (let y = 0; y < binnedHeight; y++) {
    for (let x = 0; x < binnedWidth; x++) {
      let sum = 0;
      for (let dy = 0; dy < binning; dy++) {
        const start = (y * binning + dy) * widthPx + x * binning;
        for (let dx = 0; dx < binning; dx++) sum += codes[start + dx]!;
      }
      out[y * binnedWidth + x] = Math.min(top, Math.floor(sum / divisor));
    }
  }
  return out;
}
