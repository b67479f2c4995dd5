import type { FitsHeader } from "../../drivers/formats/fits-header.ts";

/** What should not differ between files that are worked on together. */
const settings: readonly {
  readonly keyword: Setting;
  readonly what: string;
  readonly toleranceFraction: number;
  /** In the card's own unit. */
  readonly toleranceUnits?: number;
}[] = [
  { keyword: "EXPTIME", what: "exposure", toleranceFraction: 0.02 },
  { keyword: "GAIN", what: "gain", toleranceFraction: 0 },
  { keyword: "OFFSET", what: "offset", toleranceFraction: 0 },
  { keyword: "XBINNING", what: "binning", toleranceFraction: 0 },
  { keyword: "INSTRUME", what: "camera", toleranceFraction: 0 },
  { keyword: "FILTER", what: "filter", toleranceFraction: 0 },
  { keyword: "XORGSUBF", what: "the region's first column", toleranceFraction: 0 },
  { keyword: "YORGSUBF", what: "the region's first row", toleranceFraction: 0 },
  // Nearer than that the dust tells better than a rotator.
  { keyword: "ROTATANG", what: "rotator angle", toleranceFraction: 0, toleranceUnits: 0.25 },
  { keyword: "ROWORDER", what: "row order", toleranceFraction: 0 },
];

export type Setting =
  | "EXPTIME"
  | "GAIN"
  | "OFFSET"
  | "XBINNING"
  | "INSTRUME"
  | "FILTER"
  | "XORGSUBF"
  | "YORGSUBF"
  | "ROTATANG"
  | "ROWORDER";

interface Labelled {
  readonly path: string;
  readonly header: FitsHeader;
}

/** Sentences for what two headers say differently; a keyword that one of them lacks says nothing. */
export function settingDifferences(
  image: Labelled,
  other: Labelled,
  keywords: readonly Setting[] = settings.map((setting) => setting.keyword),
): string[] {
  return settings
    .filter(({ keyword }) => keywords.includes(keyword))
    .flatMap(({ keyword, what, toleranceFraction, toleranceUnits = 0 }) => {
      const [a, b] = [image.header.value(keyword), other.header.value(keyword)];
      if (a === undefined || b === undefined || a === b) return [];
      if (
        typeof a === "number" &&
        typeof b === "number" &&
        Math.abs(a - b) <= Math.max(toleranceUnits, toleranceFraction * Math.abs(b))
      )
        return [];
      return [`${image.path} has ${what} ${String(a)}, ${other.path} has ${String(b)}`];
    });
}
