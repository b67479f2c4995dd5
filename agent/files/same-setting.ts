import type { FitsHeader } from "../../drivers/formats/fits-header.ts";

interface SettingRule {
  readonly what: string;
  readonly unit?: string;
  readonly toleranceFraction?: number;
  /** In the card's own unit. */
  readonly toleranceUnits?: number;
}

/** What should not differ between files that are worked on together, by keyword. */
const settings = {
  EXPTIME: { what: "exposure", unit: "s", toleranceFraction: 0.02 },
  GAIN: { what: "gain" },
  OFFSET: { what: "offset" },
  // Dark current doubles every 6 degrees.
  "CCD-TEMP": { what: "sensor temperature", unit: "deg C", toleranceUnits: 2 },
  XBINNING: { what: "binning" },
  INSTRUME: { what: "camera" },
  FILTER: { what: "filter" },
  XORGSUBF: { what: "the region's first column" },
  YORGSUBF: { what: "the region's first row" },
  // Nearer than that the dust tells better than a rotator.
  ROTATANG: { what: "rotator angle", toleranceUnits: 0.25 },
  ROWORDER: { what: "row order" },
} satisfies Record<string, SettingRule>;

export type Setting = keyof typeof settings;

/** What a dark has to share with the frames that it is taken off. */
export const darkSettings = [
  "EXPTIME",
  "GAIN",
  "OFFSET",
  "CCD-TEMP",
  "XBINNING",
  "INSTRUME",
  "ROWORDER",
] as const;

/** A file and what its header says. */
export interface Labelled {
  readonly path: string;
  readonly header: FitsHeader;
}

/** Sentences for what two headers say differently; a keyword that one of them lacks says nothing. */
export function settingDifferences(
  image: Labelled,
  other: Labelled,
  keywords?: readonly Setting[],
): string[] {
  const rules: readonly [string, SettingRule][] = Object.entries(settings);
  return rules
    .filter(([keyword]) => keywords?.includes(keyword as Setting) ?? true)
    .flatMap(([keyword, { what, unit, toleranceFraction = 0, toleranceUnits = 0 }]) => {
      const [a, b] = [image.header.value(keyword), other.header.value(keyword)];
      if (a === undefined || b === undefined || a === b) return [];
      if (
        typeof a === "number" &&
        typeof b === "number" &&
        Math.abs(a - b) <= Math.max(toleranceUnits, toleranceFraction * Math.abs(b))
      )
        return [];
      const text = (value: unknown) =>
        `${typeof value === "number" ? Number(value.toPrecision(4)) : String(value)}${unit === undefined ? "" : ` ${unit}`}`;
      return [`${image.path} has ${what} ${text(a)}, ${other.path} has ${text(b)}`];
    });
}

/** Names of the settings that one of two headers lacks. */
export function settingsNotStated(image: Labelled, other: Labelled, keywords: readonly Setting[]): string[] {
  return keywords
    .filter((keyword) => !image.header.has(keyword) || !other.header.has(keyword))
    .map((keyword) => settings[keyword].what);
}
