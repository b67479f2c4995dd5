import type { Shape } from "../numerics/shape.ts";
import { dustCandidates } from "./dust-candidates.ts";
import { cellSidePx } from "./dust-cells.ts";
import { fitShadow, type ShadowFit } from "./dust-fit.ts";
import { type JointFit, jointFit } from "./dust-joint-fit.ts";
import { isMostlySeen } from "./dust-judge.ts";
import { ofBestKind } from "./dust-measure.ts";
import { kindsFor } from "./dust-refit.ts";
import { rimCandidates } from "./dust-rims.ts";
import { bare, fill, type Residual, type Shadow } from "./dust-shadow.ts";
import { endOf, isRing } from "./shadow-profile.ts";

/** Two that overlap are told apart by the search. */
const clusterLeast = 3;
/** Width of a cell where all shadows are large; wider ones where there would be more than so many. */
const cellPxMost = 4;
const cellsMost = 40_000;
/** Of the criterion: less is not worth another round. */
const gainLeast = 1;
/** Of rims and of blobs, so many that promise most are tried. */
const triedMost = 4;
/** About overlapping shadows, so many pixels are looked at too, and this share of the largest one's radius. */
const margin = { px: 12, radii: 0.5 };

/**
 * Where a large shadow lies over others, a search by one at a time may give one of them part of another's light and tile the rest with
 * small ones. Each cluster of overlapping shadows is explained anew, from nothing, by one more after the other, all of them measured
 * together each time. That is taken if it explains the pixels better for its number of unknowns (Bayesian information criterion).
 * Source of the choice: G. Schwarz, Annals of Statistics 6 (1978) 461.
 * @param clean what the shadows leave; follows what is changed
 * @param knotPx of the background, which is measured along
 */
export function explainedAnew(clean: Residual, shadows: readonly Shadow[], knotPx: number): Shadow[] {
  return clustersOf(shadows).flatMap((cluster) => {
    if (cluster.length < clusterLeast) return cluster;
    const better = clusterAnew(clean, cluster, knotPx);
    if (!better) return cluster;
    for (const one of cluster) fill(clean, one, -1);
    for (const one of better) fill(clean, one, 1);
    return better;
  });
}

/** @returns nothing if the cluster as found explains the picture better */
function clusterAnew(clean: Residual, cluster: readonly Shadow[], knotPx: number): Shadow[] | undefined {
  const { picture, x0, y0 } = pictureAbout(clean, cluster);
  const local = cluster.map((one) => ({ ...one, fit: moved(one.fit, -x0, -y0) }));
  for (const one of local) fill(picture, one, -1);
  const asFound = local.map(({ fit }) => fit);
  let cellPx = Math.min(cellPxMost, cellSidePx(asFound));
  while (picture.values.length > cellsMost * cellPx ** 2) cellPx *= 2;
  const before = jointFit(picture, asFound, knotPx, cellPx);
  let anew: JointFit | undefined;
  const take = (shadows: readonly ShadowFit[]) => {
    const joint = jointFit(picture, shadows, knotPx, cellPx);
    if (anew && criterion(joint) > criterion(anew) - gainLeast) return false;
    anew = joint;
    return true;
  };
  for (;;) {
    const told = anew?.shadows ?? [];
    const next = told.length < cluster.length ? nextOf(picture, told) : undefined;
    if (next && take([...told, next])) continue;
    if (!anew || !otherKinds(picture, told).some(take)) break;
  }
  if (!anew || criterion(anew) >= criterion(before)) return undefined;
  // How little is known of overlapping ones' depths is judged when all are measured; here the criterion has.
  return anew.shadows.map((fit) => bare({ ...moved(fit, x0, y0), depthSigma: 0 }));
}

/** Each of the best kind by itself; or one of the rings without its bright middle: that may have been a shadow's taken for too deep. */
function otherKinds(picture: Residual, shadows: readonly ShadowFit[]): ShadowFit[][] {
  const rings = shadows.filter(({ kind }) => isRing(kind));
  return [
    withBestKinds(picture, shadows),
    ...rings.map((ring) =>
      shadows.map((one) => (one === ring ? { ...one, kind: "disc" as const, holeRatio: 0 } : one)),
    ),
  ];
}

function withBestKinds(picture: Residual, shadows: readonly ShadowFit[]): ShadowFit[] {
  const left: Residual = { ...picture, values: picture.values.slice() };
  for (const one of shadows) fill(left, bare(one), 1);
  return shadows.map((one) => {
    fill(left, bare(one), -1);
    const best = ofBestKind(left, one);
    fill(left, bare(one), 1);
    return best;
  });
}

/** The one more shadow that explains most of what others leave. */
function nextOf(picture: Residual, others: readonly ShadowFit[]): ShadowFit | undefined {
  const { shape, usePx } = picture;
  const values = picture.values.slice();
  const left: Residual = { shape, usePx, values };
  for (const other of others) fill(left, bare(other), 1);
  const largestPx = 0.9 * Math.min(shape.widthPx, shape.heightPx);
  const starts = [
    ...rimCandidates(values, usePx, shape, largestPx).slice(0, triedMost),
    ...dustCandidates(values, usePx, shape, largestPx)
      .filter(({ contrast }) => contrast > 0)
      .slice(0, triedMost),
  ];
  const squares = squaresOf(left);
  let best: { readonly fit: ShadowFit; readonly explains: number } | undefined;
  for (const start of starts)
    for (const kind of kindsFor(1)) {
      const fit = fitShadow(values, usePx, shape, start, kind);
      if (!fit || fit.depth <= 0 || (isRing(kind) && fit.holeRatio < 0.1) || !isMostlySeen(fit, shape))
        continue;
      fill(left, bare(fit), 1);
      const explains = squares - squaresOf(left);
      fill(left, bare(fit), -1);
      if (explains > (best?.explains ?? 0)) best = { fit, explains };
    }
  return best?.fit;
}

/** Less is better. */
function criterion({ squares, cells, unknowns }: JointFit): number {
  return cells * Math.log(squares) + unknowns * Math.log(cells);
}

function squaresOf({ values, usePx }: Residual): number {
  let squares = 0;
  for (let i = 0; i < values.length; i++) if (usePx[i] === 1) squares += values[i]! * values[i]!;
  return squares;
}

/** Shadows that overlap or touch, in one group. */
function clustersOf(shadows: readonly Shadow[]): Shadow[][] {
  const clusters: Shadow[][] = [];
  for (const shadow of shadows) {
    const touching = clusters.filter((cluster) => cluster.some((other) => overlap(other.fit, shadow.fit)));
    for (const cluster of touching) clusters.splice(clusters.indexOf(cluster), 1);
    clusters.push([...touching.flat(), shadow]);
  }
  return clusters;
}

function overlap(a: ShadowFit, b: ShadowFit): boolean {
  return Math.hypot(a.xPx - b.xPx, a.yPx - b.yPx) < reachOf(a) + reachOf(b);
}

/** A bell has no end; beyond this a fifth of it is left. */
function reachOf(fit: ShadowFit): number {
  return fit.kind === "bell" ? 1.5 * fit.radiusPx : endOf(fit);
}

/** A part of the picture with the shadows in its middle. */
function pictureAbout({ values, usePx, shape }: Residual, shadows: readonly Shadow[]) {
  const fits = shadows.map(({ fit }) => fit);
  const round = margin.px + margin.radii * Math.max(...fits.map(({ radiusPx }) => radiusPx));
  const x0 = Math.max(0, Math.floor(Math.min(...fits.map((fit) => fit.xPx - endOf(fit))) - round));
  const y0 = Math.max(0, Math.floor(Math.min(...fits.map((fit) => fit.yPx - endOf(fit))) - round));
  const x1 = Math.min(shape.widthPx, Math.ceil(Math.max(...fits.map((fit) => fit.xPx + endOf(fit))) + round));
  const y1 = Math.min(
    shape.heightPx,
    Math.ceil(Math.max(...fits.map((fit) => fit.yPx + endOf(fit))) + round),
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

function moved(fit: ShadowFit, x: number, y: number): ShadowFit {
  return { ...fit, xPx: fit.xPx + x, yPx: fit.yPx + y };
}
