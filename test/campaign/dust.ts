import { type DustFound, findDust } from "../../agent/imaging/dust/dust.ts";
import { centralShare } from "../../agent/imaging/numerics/normal.ts";
import { diameterBoundsPx } from "./dust-bound.ts";
import { type DustyFlat, drawnFlat, sceneFlat, type TrueShadow } from "./dust-flats.ts";
import { printTable } from "./print-table.ts";

export interface DustCampaign {
  readonly flats: number;
  /** Shadows at least 3 sigma of a pixel deep, and how many of them were found. */
  readonly due: number;
  readonly found: number;
  readonly falsePerFlatMost: number;
  readonly falseTotal: number;
  /** Of the shadows found: share whose diameter is right to 5 %, and quantiles of the error. */
  readonly diameterWithin5Percent: number;
  /** The same share of an unbiased measurement that is as sharp as noise allows (Cramér–Rao), with normal errors. */
  readonly noiseAllows: number;
  /** Share of the diameters and of the depths that are right to two of the sigmas told with them. */
  readonly diameterWithinTwoSigma: number;
  readonly depthWithinTwoSigma: number;
  readonly diameterErrorMedian: number;
  readonly diameterError95Percent: number;
}

const sigmaDue = 3;

/** Half of the flats are drawn scenes, half are discs, rings and Gaussians of the campaign's own. */
export function run(options: { seed: number; flats: number; print?: (line: string) => void }): DustCampaign {
  const { seed, flats, print } = options;
  const errors: number[] = [];
  let allowed = 0;
  const withinTwo = { diameter: 0, depth: 0 };
  let [due, found, falseTotal, falsePerFlatMost] = [0, 0, 0, 0];
  for (let k = 0; k < flats; k++) {
    const dusty = k % 2 === 0 ? sceneFlat(seed + k) : drawnFlat(seed + k);
    const judged = judgeDust(dusty, findDust(dusty.flat));
    const bounds = diameterBoundsPx(dusty);
    for (const { shadow, match } of judged.due) {
      due++;
      if (match) {
        found++;
        errors.push(Math.abs(match.diameterPx / shadow.diameterPx - 1));
        const bound = bounds[dusty.shadows.indexOf(shadow)]! / shadow.diameterPx;
        if (Math.abs(match.diameterPx - shadow.diameterPx) < 2 * match.diameterSigmaPx) withinTwo.diameter++;
        if (Math.abs(match.depth - shadow.depth) < 2 * match.depthSigma) withinTwo.depth++;
        allowed += bound < 1e-3 ? 1 : centralShare(0.05 / bound);
        if (errors.at(-1)! > 0.05)
          print?.(
            `${dusty.name}: ${told(shadow)} (${shadow.kind}) found ${match.diameterPx.toFixed(1)} px wide; noise allows ${percent(bound)}`,
          );
      } else
        print?.(
          `${dusty.name}: ${told(shadow)}, ${(shadow.depth / dusty.sigma).toFixed(1)} sigma, not found`,
        );
    }
    falseTotal += judged.wrong.length;
    falsePerFlatMost = Math.max(falsePerFlatMost, judged.wrong.length);
    for (const wrong of judged.wrong) print?.(`${dusty.name}: false ${told(wrong)}`);
  }
  errors.sort((a, b) => a - b);
  const result = {
    flats,
    due,
    found,
    falsePerFlatMost,
    falseTotal,
    diameterWithin5Percent: errors.filter((error) => error <= 0.05).length / Math.max(1, errors.length),
    noiseAllows: allowed / Math.max(1, errors.length),
    diameterWithinTwoSigma: withinTwo.diameter / Math.max(1, errors.length),
    depthWithinTwoSigma: withinTwo.depth / Math.max(1, errors.length),
    diameterErrorMedian: errors[errors.length >> 1] ?? Number.NaN,
    diameterError95Percent: errors[Math.floor(errors.length * 0.95)] ?? Number.NaN,
  };
  printTable(print, `Dust: ${flats} flats, seeds from ${seed}`, [
    [`shadows of at least ${sigmaDue} sigma found`, `${found} of ${due}`, "≥ 95 %"],
    ["", percent(found / Math.max(1, due)), "≥ 95 %"],
    ["false in one flat, most", falsePerFlatMost, "≤ 1"],
    ["false in all", falseTotal, ""],
    ["diameter right to 5 %", percent(result.diameterWithin5Percent), "≥ 95 %"],
    ["… that noise allows", percent(result.noiseAllows), ""],
    ["diameter right to two of its sigmas", percent(result.diameterWithinTwoSigma), ""],
    ["depth right to two of its sigmas", percent(result.depthWithinTwoSigma), ""],
    ["diameter error, median", percent(result.diameterErrorMedian), ""],
    ["diameter error, 95 of 100 below", percent(result.diameterError95Percent), "≤ 5 %"],
  ]);
  return result;
}

function percent(share: number): string {
  return `${(100 * share).toFixed(2)} %`;
}

/** Each true shadow with the found one that lies nearest it, if that is its like; what is nobody's is wrong. */
export function judgeDust({ shadows, sigma }: DustyFlat, found: readonly DustFound[]) {
  const left = new Set(found);
  const matched = [...shadows]
    .sort((a, b) => b.depth * b.diameterPx - a.depth * a.diameterPx)
    .map((shadow) => {
      const near = [...left]
        .filter((one) => isLike(one, shadow))
        .sort((a, b) => distance(a, shadow) - distance(b, shadow))[0];
      if (near) left.delete(near);
      return { shadow, match: near };
    });
  return { due: matched.filter(({ shadow }) => shadow.depth >= sigmaDue * sigma), wrong: [...left] };
}

function isLike(one: DustFound, { diameterPx, ...shadow }: TrueShadow): boolean {
  const ratio = one.diameterPx / diameterPx;
  return distance(one, shadow) < 0.25 * diameterPx + 2 && ratio > 0.7 && ratio < 1.43;
}

function distance(a: { xPx: number; yPx: number }, b: { xPx: number; yPx: number }): number {
  return Math.hypot(a.xPx - b.xPx, a.yPx - b.yPx);
}

function told(shadow: { xPx: number; yPx: number; diameterPx: number; depth: number }): string {
  const { xPx, yPx, diameterPx, depth } = shadow;
  return `shadow at ${xPx.toFixed(0)}, ${yPx.toFixed(0)}, ${diameterPx.toFixed(1)} px, ${(100 * depth).toFixed(2)} %`;
}
