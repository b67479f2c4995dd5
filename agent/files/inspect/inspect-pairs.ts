import { smallStructure } from "../../imaging/match/small-structure.ts";
import { findChanges } from "../../imaging/match/train-changes.ts";
import { neighbourNoise } from "../../imaging/noise/neighbour-noise.ts";
import { median } from "../../imaging/numerics/order-statistics.ts";
import { greyTest } from "../../imaging/proof/grey-test.ts";
import { photonLimit } from "../../imaging/proof/photon-limit.ts";
import { judgeFigure, type ProofFigure } from "../../imaging/proof/proof-figure.ts";
import { settingDifferences } from "../same-setting.ts";
import type { Inspection } from "./inspect-file.ts";
import { photonsOf } from "./inspect-flat.ts";
import { type Picture, readPicture, samplePixels } from "./inspected-picture.ts";

/** What two flats of one setting tell that neither tells by itself. */
export interface FlatPair {
  readonly files: readonly [string, string];
  readonly figures: readonly ProofFigure[];
}

const sidePx = 16;

/**
 * Holds each flat against the next of its size and setting: light that wandered over the field, dust that moved, structure of the Sun,
 * and noise apart from the pixels' own response.
 */
export function pairFlats(inspected: readonly Inspection[]): readonly FlatPair[] {
  const flats = inspected.filter(({ kind }) => kind === "flat");
  const pairs: FlatPair[] = [];
  let before: { readonly file: string; readonly picture: Picture } | undefined;
  for (const { file } of flats) {
    const now = { file, picture: readPicture(file).picture };
    if (before && isAlike(before, now))
      pairs.push({ files: [before.file, file], figures: pairFigures(before.picture, now.picture) });
    before = now;
  }
  return pairs;
}

function isAlike(a: { file: string; picture: Picture }, b: { file: string; picture: Picture }): boolean {
  const labelled = (one: typeof a) => ({ path: one.file, header: one.picture.header });
  return (
    a.picture.widthPx === b.picture.widthPx &&
    a.picture.heightPx === b.picture.heightPx &&
    settingDifferences(labelled(a), labelled(b), ["INSTRUME", "FILTER", "XBINNING", "ROWORDER", "GAIN"])
      .length === 0
  );
}

function pairFigures(first: Picture, second: Picture): ProofFigure[] {
  const { widthPx, heightPx } = first;
  const shape = { widthPx, heightPx };
  const [levelA, levelB] = [median(samplePixels(first)) ?? 1, median(samplePixels(second)) ?? 1];
  const ratio = new Float32Array(widthPx * heightPx);
  const usePx = new Uint8Array(ratio.length);
  for (let i = 0; i < ratio.length; i++) {
    const [a, b] = [first.values[i]! / levelA, second.values[i]! / levelB];
    // Dark corners have more noise than the rest, and clipped pixels none.
    if (first.mask[i] !== 0 || second.mask[i] !== 0 || !(a > 0.2) || !(b > 0.2)) continue;
    usePx[i] = 1;
    ratio[i] = b / a;
  }
  const noise = neighbourNoise(ratio, usePx, widthPx) ?? 0;
  const [grey] = greyTest(ratio, new Float32Array(ratio.length).fill(noise), usePx, shape, [sidePx]);
  const changes = findChanges(structureOf(first, levelA), [structureOf(second, levelB)]);
  const worst = Math.abs(changes.places[0]?.left ?? 0);
  return [
    ...noiseFigure(first, second, noise),
    ...(grey ? [judgeFigure("pairLight", grey.excess, grey.excessSigma)] : []),
    judgeFigure("pairChange", worst, changes.leastSeen / 7),
  ];
}

/** Of single frames, whose pixels' own response is in both and falls out. */
function noiseFigure(first: Picture, second: Picture, noise: number): ProofFigure[] {
  const photons = photonsOf(first);
  if (first.isMaster || second.isMaster || photons === undefined) return [];
  const gain = first.values.map((value) => value / photons.levelAdu);
  const limit = photonLimit({ gain, mask: first.mask }, photons);
  return [judgeFigure("photonLimit", noise / Math.SQRT2 / limit)];
}

function structureOf({ values, mask, widthPx, heightPx }: Picture, level: number) {
  const levels = values.map((value, i) => (mask[i] === 0 ? value / level : Number.NaN));
  return smallStructure(levels, { widthPx, heightPx });
}

/** For people: a line each figure. */
export function describePairs(
  pairs: readonly FlatPair[],
  figureLine: (figure: ProofFigure) => string,
): string[] {
  return pairs.flatMap(({ files, figures }) => [
    `${files[0]} and ${files[1]}, one against the other:`,
    ...figures.map(figureLine),
  ]);
}
