import type { ReportPicture } from "../report-page.ts";
import { percentileRange } from "../stretch.ts";
import { greyPng, shrink } from "./shrink.ts";

const shownWidthPx = 1280;

export interface MarkedShadow {
  readonly xPx: number;
  readonly yPx: number;
  readonly diameterPx: number;
}

/** Of the ring round a shadow, in a picture so wide. */
export function markRadiusPx({ diameterPx }: MarkedShadow, widthPx: number): number {
  return Math.max(diameterPx / 2 + widthPx / 200, widthPx / 100);
}

/** The master flat, stretched so that a few percent fill the grey scale, with every dust shadow ringed. */
export function flatPicture(input: {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly gain: Float32Array;
  readonly mask: Uint8Array;
  readonly dust: readonly MarkedShadow[];
}): ReportPicture {
  const { widthPx, heightPx, gain, mask, dust } = input;
  const small = shrink({ widthPx, heightPx, pixels: gain }, shownWidthPx, mask);
  const range = percentileRange(small.pixels) ?? { black: 0, white: 1 };
  const rings = dust.map((shadow, index) => {
    const { xPx, yPx } = shadow;
    const radiusPx = markRadiusPx(shadow, widthPx);
    const ring = `<circle cx="${xPx.toFixed(1)}" cy="${yPx.toFixed(1)}" r="${radiusPx.toFixed(1)}" fill="none" stroke="#ffc24d" stroke-width="${(widthPx / 500).toFixed(1)}"/>`;
    const label = `<text x="${(xPx + radiusPx * 0.8).toFixed(1)}" y="${(yPx - radiusPx * 0.8).toFixed(1)}" font-size="${(widthPx / 55).toFixed(0)}" font-family="system-ui,sans-serif" fill="#ffc24d">${index + 1}</text>`;
    return ring + label;
  });
  const spreadPercent = (100 * (range.white - range.black)).toFixed(1);
  const marked =
    dust.length === 0
      ? "No dust shadow stands out."
      : `${dust.length} dust shadow${dust.length === 1 ? " is" : "s are"} ringed.`;
  return {
    wide: true,
    title: "The master flat",
    caption: `Black to white is ${spreadPercent} % of the level. ${marked}`,
    png: greyPng(small, range),
    greys: { black: range.black.toFixed(3), white: `${range.white.toFixed(3)} of the mean` },
    overlay: { widthPx, heightPx, svg: rings.join("") },
  };
}
