import { expect, test } from "vitest";
import { palettes } from "../../../agent/outputs/page-shell.ts";

/** Relative luminance and contrast of WCAG 2.2, section 1.4.3. */
function luminance(colour: string): number {
  const [r, g, b] = [1, 3, 5].map((at) => {
    const share = Number.parseInt(colour.slice(at, at + 2), 16) / 255;
    return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
  }) as [number, number, number];
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

function contrast(a: string, b: string): number {
  const [low, high] = [luminance(a), luminance(b)].sort((x, y) => x - y) as [number, number];
  return (high + 0.05) / (low + 0.05);
}

test.each(Object.entries(palettes))("text is readable on every ground of the %s palette", (_, palette) => {
  for (const ground of [palette.ground, palette.sheet, palette.differs] as const)
    for (const text of ["ink", "quiet", "link"] as const)
      expect(contrast(palette[text], ground), `${text} on ${ground}`).toBeGreaterThanOrEqual(4.5);
  for (const tag of ["good", "usable", "bad", "none"] as const)
    expect(contrast(palette.onTag, palette[tag]), tag).toBeGreaterThanOrEqual(4.5);
});
