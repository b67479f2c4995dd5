import { given } from "../../kit/given.ts";
import type { Camera } from "../../roles/camera.ts";
import { describeLimits } from "../../roles/camera-setup.ts";
import { shiftMosaic } from "../../roles/colour-mosaic.ts";
import type { CameraFacts, ControlFacts } from "./camera-facts.ts";

/** What the rig file may say of a camera. */
export interface CameraOptions {
  /** Highest code of a pixel, if the driver's own account is wrong. */
  readonly fullScaleAdu?: number;
  /** Longest time from the end of an exposure to its last byte here [s]. Default 30. */
  readonly readoutSeconds?: number;
}

/** ASCOM `SensorType`; what is no mosaic is left out. */
const filterArrays: readonly (string | undefined)[] = [undefined, undefined, "RGGB", "CMYG", "CMYG2", "LRGB"];

export function cameraLimits(facts: CameraFacts, options: CameraOptions): Camera["limits"] {
  const pattern = filterArrays[facts.sensorType ?? 0];
  return {
    // Some drivers give 0 as their shortest: no exposure is that short.
    exposureSeconds: { ...facts.exposureSeconds, min: Math.max(facts.exposureSeconds.min, 1e-6) },
    gain: facts.gain?.range,
    offset: facts.offset?.range,
    binning: { min: 1, max: facts.binningMax, step: 1 },
    sensorPx: { widthPx: facts.widthPx, heightPx: facts.heightPx },
    pixelMicron: facts.pixelMicron,
    ...given({
      colourFilterArray: pattern && shiftMosaic(pattern, facts.bayerOffsetPx.x, facts.bayerOffsetPx.y),
    }),
    fullScaleAdu: options.fullScaleAdu ?? Math.min(65535, facts.maxAdu),
  };
}

export function describeCamera(
  facts: CameraFacts,
  limits: Camera["limits"],
): Readonly<Record<string, string>> {
  const control = (one: ControlFacts | undefined) => {
    if (!one) return "none";
    const { min, max } = one.range;
    return one.names ? `${min} to ${max}: ${one.names.join(", ")}` : `${min} to ${max}`;
  };
  const described = describeLimits(limits);
  return {
    ...described,
    sensor: facts.sensorName === "" ? described.sensor : `${facts.sensorName}, ${described.sensor}`,
    gain: control(facts.gain),
    offset: control(facts.offset),
    cooler: facts.canHoldCelsius ? "holds a temperature" : facts.hasThermometer ? "thermometer only" : "none",
    abort: facts.canAbort ? "yes" : facts.canStop ? "ends early and reads out" : "no",
    shutter: facts.hasShutter ? "yes" : "no: darks need the cover",
  };
}
