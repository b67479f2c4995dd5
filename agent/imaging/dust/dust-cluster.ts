import type { Shape } from "../numerics/shape.ts";
import type { ShadowFit } from "./dust-fit.ts";
import type { Residual, Shadow } from "./dust-shadow.ts";
import { shadowRadiusPx } from "./shadow-profile.ts";

/** About overlapping shadows, so many pixels are looked at too, and this share of the largest one's radius. */
const margin = { px: 12, radii: 0.5 };

/** Shadows that overlap or touch, in one group. */
export function findClusters(shadows: readonly Shadow[]): Shadow[][] {
  const clusters: Shadow[][] = [];
  for (const shadow of shadows) {
    const touching = clusters.filter((cluster) =>
      cluster.some((other) => doFitsOverlap(other.fit, shadow.fit)),
    );
    for (const cluster of touching) clusters.splice(clusters.indexOf(cluster), 1);
    clusters.push([...touching.flat(), shadow]);
  }
  return clusters;
}

export function doFitsOverlap(a: ShadowFit, b: ShadowFit): boolean {
  return Math.hypot(a.xPx - b.xPx, a.yPx - b.yPx) < reachOf(a) + reachOf(b);
}

/** A bell has no end; beyond this a fifth of it is left. */
function reachOf(fit: ShadowFit): number {
  return fit.kind === "bell" ? 1.5 * fit.radiusPx : shadowRadiusPx(fit);
}

/** A part of the picture with the shadows in its middle. */
export function pictureAbout({ values, usePx, shape }: Residual, shadows: readonly Shadow[]) {
  const fits = shadows.map(({ fit }) => fit);
  const round = margin.px + margin.radii * Math.max(...fits.map(({ radiusPx }) => radiusPx));
  const x0 = Math.max(0, Math.floor(Math.min(...fits.map((fit) => fit.xPx - shadowRadiusPx(fit))) - round));
  const y0 = Math.max(0, Math.floor(Math.min(...fits.map((fit) => fit.yPx - shadowRadiusPx(fit))) - round));
  const x1 = Math.min(
    shape.widthPx,
    Math.ceil(Math.max(...fits.map((fit) => fit.xPx + shadowRadiusPx(fit))) + round),
  );
  const y1 = Math.min(
    shape.heightPx,
    Math.ceil(Math.max(...fits.map((fit) => fit.yPx + shadowRadiusPx(fit))) + round),
  );
  const part: Shape = { widthPx: x1 - x0, heightPx: y1 - y0 };
  const picture = {
    shape: part,
    values: new Float32Array(part.widthPx * part.heightPx),
    usePx: new Uint8Array(part.widthPx * part.heightPx),
  };
  for (let y = 0; y < part.heightPx; y++) {
    const from = (y0 + y) * shape.widthPx + x0;
    picture.values.set(values.subarray(from, from + part.widthPx), y * part.widthPx);
    picture.usePx.set(usePx.subarray(from, from + part.widthPx), y * part.widthPx);
  }
  return { picture, x0, y0 };
}

export function moveFit(fit: ShadowFit, x: number, y: number): ShadowFit {
  return { ...fit, xPx: fit.xPx + x, yPx: fit.yPx + y };
}
