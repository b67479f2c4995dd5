import { MissingAbilityError, OutOfLimitsError } from "../../kit/errors.ts";
import type { Camera, CameraSetup } from "../../roles/camera.ts";
import type { Range } from "../../roles/device.ts";
import { checkCelsius } from "./camera-cooler.ts";
import type { CameraFacts, ControlFacts } from "./camera-facts.ts";
import { checkRegion } from "./camera-frame.ts";

/** What the rig file may say of a camera. */
export interface CameraOptions {
  /** Highest code of a pixel, if the driver's own account is wrong. */
  readonly fullScaleAdu?: number;
  /** Longest time from the end of an exposure to its last byte here [s]. Default 30. */
  readonly readoutSeconds?: number;
}

export function cameraLimits(facts: CameraFacts, options: CameraOptions): Camera["limits"] {
  return {
    // Some drivers give 0 as their shortest: no exposure is that short.
    exposureSeconds: { ...facts.exposureSeconds, min: Math.max(facts.exposureSeconds.min, 1e-6) },
    gain: facts.gain?.range,
    offset: facts.offset?.range,
    binning: { min: 1, max: facts.binningMax, step: 1 },
    sensorPx: { widthPx: facts.widthPx, heightPx: facts.heightPx },
    pixelMicron: facts.pixelMicron,
    fullScaleAdu: options.fullScaleAdu ?? Math.min(65535, facts.maxAdu),
  };
}

/** @throws OutOfLimitsError, MissingAbilityError: all of it before anything is sent */
export function checkSetup(
  device: string,
  setup: CameraSetup,
  limits: Camera["limits"],
  facts: CameraFacts,
): void {
  const inside = (what: string, value: number | undefined, range: Range | undefined) => {
    if (value === undefined) return;
    if (!range) throw new MissingAbilityError(device, `this camera has no ${what} to set`);
    if (!(Number.isInteger(value) && value >= range.min && value <= range.max)) {
      throw new OutOfLimitsError(device, what, value, `the whole numbers ${range.min} to ${range.max}`);
    }
  };
  inside("gain", setup.gain, limits.gain);
  inside("offset", setup.offset, limits.offset);
  inside("binning", setup.binning, limits.binning);
  if (setup.region) checkRegion(device, setup.region, limits.sensorPx);
  if (setup.coolerCelsius === undefined) return;
  if (!facts.canHoldCelsius) throw new MissingAbilityError(device, "this camera cannot hold a temperature");
  checkCelsius(device, setup.coolerCelsius);
}

export function describeCamera(
  facts: CameraFacts,
  limits: Camera["limits"],
): Readonly<Record<string, string>> {
  const { exposureSeconds, binning, fullScaleAdu } = limits;
  const control = (one: ControlFacts | undefined) => {
    if (!one) return "none";
    const { min, max } = one.range;
    return one.names ? `${min} to ${max}: ${one.names.join(", ")}` : `${min} to ${max}`;
  };
  const size = `${facts.widthPx} x ${facts.heightPx} px of ${facts.pixelMicron} micron`;
  return {
    sensor: facts.sensorName === "" ? size : `${facts.sensorName}, ${size}`,
    exposure: `${exposureSeconds.min} to ${exposureSeconds.max} s`,
    gain: control(facts.gain),
    offset: control(facts.offset),
    binning: `${binning.min} to ${binning.max}`,
    fullScale: `${fullScaleAdu} adu`,
    cooler: facts.canHoldCelsius ? "holds a temperature" : facts.hasThermometer ? "thermometer only" : "none",
    abort: facts.canAbort ? "yes" : facts.canStop ? "ends early and reads out" : "no",
    shutter: facts.hasShutter ? "yes" : "no: darks need the cover",
  };
}
