import { cellSidePx } from "./dust-cells.ts";
import { findClusters, moveFit, pictureAbout } from "./dust-cluster.ts";
import { findNextShadow } from "./dust-explaining.ts";
import { fewerShadows } from "./dust-fewer.ts";
import type { ShadowFit } from "./dust-fit.ts";
import { fitJointly, isBetterFit, type JointFit } from "./dust-joint-fit.ts";
import { fitBestKinds } from "./dust-measure.ts";
import { addShadow, type Residual, type Shadow, shadowOfFit } from "./dust-shadow.ts";
import { isRing } from "./shadow-profile.ts";

/** Two that overlap are told apart by the search. */
const clusterLeast = 3;
/** Width of a cell where all shadows are large; wider ones where there would be more than so many. */
const cellPxMost = 4;
const cellsMost = 40_000;

/**
 * Where a large shadow lies over others, a search by one at a time may give one of them part of another's light and tile the rest with
 * small ones. Each cluster of overlapping shadows is explained anew, from nothing, by one more after the other, all of them measured
 * together each time. What explains the pixels better for its number of unknowns, that or what was found, is then made as simple as they allow.
 * @param clean what the shadows leave; follows what is changed
 * @param knotPx of the background, which is measured along
 */
export function refitCluster(clean: Residual, shadows: readonly Shadow[], knotPx: number): Shadow[] {
  return findClusters(shadows).flatMap((cluster) => {
    const better = cluster.length > 1 ? clusterAnew(clean, cluster, knotPx) : undefined;
    if (!better) return cluster;
    for (const one of cluster) addShadow(clean, one, -1);
    for (const one of better) addShadow(clean, one, 1);
    return better;
  });
}

/** @returns nothing if the cluster as found explains the picture better */
function clusterAnew(clean: Residual, cluster: readonly Shadow[], knotPx: number): Shadow[] | undefined {
  const { picture, x0, y0 } = pictureAbout(clean, cluster);
  const local = cluster.map((one) => ({ ...one, fit: moveFit(one.fit, -x0, -y0) }));
  for (const one of local) addShadow(picture, one, -1);
  const asFound = local.map(({ fit }) => fit);
  let cellPx = Math.min(cellPxMost, cellSidePx(asFound));
  while (picture.values.length > cellsMost * cellPx ** 2) cellPx *= 2;
  const before = fitJointly(picture, asFound, knotPx, cellPx);
  const refit =
    cluster.length < clusterLeast ? undefined : fromNothing(picture, cluster.length, knotPx, cellPx);
  const best = fewerShadows(picture, refit && isBetterFit(refit, before) ? refit : before, knotPx, cellPx);
  if (best === before) return undefined;
  // How little is known of overlapping ones' depths is judged when all are measured; here the criterion has.
  return best.shadows.map((fit) => shadowOfFit({ ...moveFit(fit, x0, y0), depthSigma: 0 }));
}

/** One more after the other, kinds chosen anew when no more is gained. */
function fromNothing(picture: Residual, most: number, knotPx: number, cellPx: number): JointFit | undefined {
  let best: JointFit | undefined;
  const take = (shadows: readonly ShadowFit[]) => {
    const joint = fitJointly(picture, shadows, knotPx, cellPx, best);
    if (best && !isBetterFit(joint, best)) return false;
    best = joint;
    return true;
  };
  for (;;) {
    const told = best?.shadows ?? [];
    const next = told.length < most ? findNextShadow(picture, told) : undefined;
    if (next && take([...told, next])) continue;
    if (!best || !otherKinds(picture, told).some(take)) return best;
  }
}

/** Each of the best kind by itself; or one of the rings without its bright middle: that may have been a shadow's taken for too deep. */
function otherKinds(picture: Residual, shadows: readonly ShadowFit[]): ShadowFit[][] {
  const rings = shadows.filter(({ kind }) => isRing(kind));
  return [
    fitBestKinds(picture, shadows),
    ...rings.map((ring) =>
      shadows.map((one) => (one === ring ? { ...one, kind: "disc" as const, holeRatio: 0 } : one)),
    ),
  ];
}
