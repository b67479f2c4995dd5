import { MissingAbilityError } from "../../kit/errors.ts";
import type { Range } from "../../roles/device.ts";
import type { IndiDevice } from "../session/device.ts";
import { limitsOf } from "../wire/property.ts";

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

export function rangeOf(device: IndiDevice, place: NumberPlace | undefined): Range | undefined {
  const limits = place && limitsOf(device.property(place.property), place.element);
  return limits && { min: limits.min, max: limits.max };
}
