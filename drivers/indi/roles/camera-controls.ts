import { MissingAbilityError } from "../../kit/errors.ts";
import { given } from "../../kit/given.ts";
import type { Camera } from "../../roles/camera.ts";
import { shiftMosaic } from "../../roles/colour-mosaic.ts";
import type { Range } from "../../roles/device.ts";
import type { IndiDevice } from "../session/device.ts";
import { limitsOf, numberIn, textIn } from "../wire/property.ts";
import { exposureProperty } from "./camera-exposure.ts";

/** Where a driver keeps a number. */
export interface NumberPlace {
  readonly property: string;
  readonly element: string;
}

const spellings = {
  gain: { own: ["CCD_GAIN", "GAIN"], among: [/^gain$/i, /^analog(ue)?[ _-]?gain$/i] },
  offset: { own: ["CCD_OFFSET", "OFFSET"], among: [/^offset$/i, /^(brightness|black[ _-]?level)$/i] },
} as const;

/**
 * Gain and offset have no place in the standard: properties of their own, elements of CCD_CONTROLS in the maker's
 * spelling, or what the rig file says.
 * @param configured `PROPERTY.ELEMENT`
 * @throws MissingAbilityError if a configured place does not exist
 */
export function findControl(
  device: IndiDevice,
  what: "gain" | "offset",
  configured?: string,
): NumberPlace | undefined {
  const exists = ({ property, element }: NumberPlace) =>
    device.property(property)?.elements.has(element) === true;
  if (configured !== undefined) {
    const dot = configured.indexOf(".");
    const place = { property: configured.slice(0, dot), element: configured.slice(dot + 1) };
    if (dot > 0 && exists(place)) return place;
    throw new MissingAbilityError(
      device.name,
      `the rig file keeps the ${what} in ${configured}, which is not there`,
    );
  }
  const { own, among } = spellings[what];
  const standard = { property: own[0], element: own[1] };
  if (exists(standard)) return standard;
  const names = [...(device.property("CCD_CONTROLS")?.elements.keys() ?? [])];
  for (const spelling of among) {
    const element = names.find((name) => spelling.test(name));
    if (element !== undefined) return { property: "CCD_CONTROLS", element };
  }
  return undefined;
}

function rangeOf(device: IndiDevice, place: NumberPlace | undefined): Range | undefined {
  const limits = place && limitsOf(device.property(place.property), place.element);
  return limits && { min: limits.min, max: limits.max };
}

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
    ...given({ colourFilterArray: colourFilterArray(device) }),
  };
}

/** Some drivers give 0 as their shortest: no exposure is that short. */
function exposureRange(device: IndiDevice): Range {
  const limits = limitsOf(device.property(exposureProperty), "CCD_EXPOSURE_VALUE");
  return { min: Math.max(limits?.min ?? 0, 1e-6), max: limits?.max ?? 3600 };
}

/** Drivers define `CCD_CFA` for sensors behind a colour filter array only (INDI library, `CCD_HAS_BAYER`). */
function colourFilterArray(device: IndiDevice): string | undefined {
  const property = device.property("CCD_CFA");
  if (!property) return undefined;
  const pattern = textIn(property, "CFA_TYPE")?.trim() || "of an unknown pattern";
  const offset = (element: string) => Math.trunc(Number(textIn(property, element)) || 0);
  return shiftMosaic(pattern.toUpperCase(), offset("CFA_OFFSET_X"), offset("CFA_OFFSET_Y"));
}

/** A converter of fewer bits than the word fills its upper bits (common practice, no source). */
function declaredFullScaleAdu(device: IndiDevice): number {
  const wordBits = numberIn(device.property("CCD_INFO"), "CCD_BITSPERPIXEL") ?? 16;
  const bits = Number.isInteger(wordBits) && wordBits >= 8 && wordBits <= 16 ? wordBits : 16;
  const adcBits = numberIn(device.property("ADC_DEPTH"), "BITS");
  const emptyBits = adcBits !== undefined && adcBits >= 8 && adcBits < bits ? bits - adcBits : 0;
  return 2 ** bits - 2 ** emptyBits;
}
