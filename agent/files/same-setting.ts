import type { FitsHeader } from "../../drivers/formats/fits-header.ts";

/** What should not differ between files that are worked on together. */
const settings = [
  { keyword: "EXPTIME", what: "exposure", toleranceFraction: 0.02 },
  { keyword: "GAIN", what: "gain", toleranceFraction: 0 },
  { keyword: "OFFSET", what: "offset", toleranceFraction: 0 },
  { keyword: "XBINNING", what: "binning", toleranceFraction: 0 },
  { keyword: "INSTRUME", what: "camera", toleranceFraction: 0 },
  { keyword: "FILTER", what: "filter", toleranceFraction: 0 },
  { keyword: "ROWORDER", what: "row order", toleranceFraction: 0 },
] as const;

interface Labelled {
  readonly path: string;
  readonly header: FitsHeader;
}

export type Setting = (typeof settings)[number]["keyword"];

/** Sentences for what two headers say differently; a keyword that one of them lacks says nothing. */
export function differences(
  image: Labelled,
  other: Labelled,
  keywords: readonly Setting[] = settings.map((setting) => setting.keyword),
): string[] {
  return settings
    .filter(({ keyword }) => keywords.includes(keyword))
    .flatMap(({ keyword, what, toleranceFraction }) => {
      const [a, b] = [image.header.value(keyword), other.header.value(keyword)];
      if (a === undefined || b === undefined || a === b) return [];
      if (
        typeof a === "number" &&
        typeof b === "number" &&
        Math.abs(a - b) <= toleranceFraction * Math.abs(b)
      )
        return [];
      return [`${image.path} has ${what} ${String(a)}, ${other.path} has ${String(b)}`];
    });
}
