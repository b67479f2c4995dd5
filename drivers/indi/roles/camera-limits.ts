import type { Camera } from "../../roles/camera.ts";
import type { Range } from "../../roles/device.ts";
import type { IndiDevice } from "../session/device.ts";
import { limitsOf, numberIn } from "../wire/property.ts";
import { type NumberPlace, rangeOf } from "./camera-controls.ts";
import { exposureProperty } from "./camera-exposure.ts";

/** As the driver declares them now: a sensor or format change rewrites them. */
export function cameraLimits(
  device: IndiDevice,
  places: { gain: NumberPlace | undefined; offset: NumberPlace | undefined },
): Camera["limits"] {
  const info = device.property("CCD_INFO");
  const binning = limitsOf(device.property("CCD_BINNING"), "HOR_BIN") ?? { min: 1, max: 1 };
  return {
    exposureSeconds: exposureRange(device),
    gain: rangeOf(device, places.gain),
    offset: rangeOf(device, places.offset),
    binning: { min: binning.min, max: binning.max, step: 1 },
    sensorPx: { widthPx: numberIn(info, "CCD_MAX_X") ?? 0, heightPx: numberIn(info, "CCD_MAX_Y") ?? 0 },
    pixelMicron: numberIn(info, "CCD_PIXEL_SIZE_X") ?? numberIn(info, "CCD_PIXEL_SIZE") ?? Number.NaN,
    fullScaleAdu: declaredFullScaleAdu(device),
  };
}

/** Some drivers give 0 as their shortest: no exposure is that short. */
function exposureRange(device: IndiDevice): Range {
  const limits = limitsOf(device.property(exposureProperty), "CCD_EXPOSURE_VALUE");
  return { min: Math.max(limits?.min ?? 0, 1e-6), max: limits?.max ?? 3600 };
}

/** A converter of fewer bits than the word fills its upper bits (common practice, no source). */
function declaredFullScaleAdu(device: IndiDevice): number {
  const wordBits = numberIn(device.property("CCD_INFO"), "CCD_BITSPERPIXEL") ?? 16;
  const bits = Number.isInteger(wordBits) && wordBits >= 8 && wordBits <= 16 ? wordBits : 16;
  const adcBits = numberIn(device.property("ADC_DEPTH"), "BITS");
  const emptyBits = adcBits !== undefined && adcBits >= 8 && adcBits < bits ? bits - adcBits : 0;
  return 2 ** bits - 2 ** emptyBits;
}
