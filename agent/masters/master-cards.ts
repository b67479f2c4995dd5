import type { Card } from "../../drivers/formats/fits-card.ts";
import type { FitsHeader } from "../../drivers/formats/fits-header.ts";
import { utcText } from "../../drivers/formats/fits-write.ts";
import type { Master } from "../imaging/combining/finish-master.ts";
import type { SunSeparation } from "../imaging/combining/sun-separation.ts";
import type { SeriesAgreement } from "../imaging/proof/proof.ts";
import { creatorCard } from "./creator-card.ts";

/** One exposure. */
export interface ExposureSpan {
  readonly beginUtcMs: number;
  readonly endUtcMs: number;
}

/** What a series tells of its frames, beside the pixels. */
export type SeriesFigures = Pick<
  Master,
  "frameCount" | "refusedFrames" | "rejectedFraction" | "clippedFraction" | "growth" | "halves"
> & {
  /** Of a flat solved from displaced frames. */
  readonly separation?: SunSeparation;
};

/** Of a master, without its pixels. */
export function figuresOf(master: Master): SeriesFigures {
  const { frameCount, refusedFrames, rejectedFraction, clippedFraction, growth, halves } = master;
  return { frameCount, refusedFrames, rejectedFraction, clippedFraction, growth, halves };
}

/** When the frames of a master were taken. @param spans of all of them; none: nothing is known */
export function timeCards(spans: readonly ExposureSpan[]): Card[] {
  if (spans.length === 0) return [];
  const begin = utcText(
    spans.reduce((least, span) => Math.min(least, span.beginUtcMs), Number.POSITIVE_INFINITY),
  );
  const end = utcText(spans.reduce((most, span) => Math.max(most, span.endUtcMs), Number.NEGATIVE_INFINITY));
  const meanMs = spans.reduce((sum, span) => sum + (span.beginUtcMs + span.endUtcMs) / 2, 0) / spans.length;
  return [
    { keyword: "DATE-OBS", value: begin, comment: "UTC, start of the first exposure" },
    { keyword: "DATE-BEG", value: begin, comment: "UTC, start of the first exposure" },
    { keyword: "DATE-AVG", value: utcText(meanMs), comment: "UTC, mean of the middles of the exposures" },
    { keyword: "DATE-END", value: end, comment: "UTC, end of the last exposure" },
    { keyword: "MJD-AVG", value: 40587 + meanMs / 86_400_000, comment: "DATE-AVG as modified Julian date" },
  ];
}

/** What a master was made of. @param darkFile its name, where a dark was taken off */
export function originCards(frameCount: number, darkFile?: string): Card[] {
  return [
    { keyword: "NCOMBINE", value: frameCount, comment: "number of frames combined" },
    ...(darkFile === undefined
      ? []
      : [{ keyword: "DARKFILE", value: darkFile, comment: "dark that was taken off" }]),
    creatorCard,
  ];
}

/** How well the frames of a series agree. */
export function figureCards(series: SeriesFigures): Card[] {
  const { refusedFrames, rejectedFraction, clippedFraction, growth, halves, separation } = series;
  const last = growth.at(-1);
  return [
    { keyword: "REFUSED", value: refusedFrames, comment: "frames left out for their level or a cloud" },
    figure("REJECTED", rejectedFraction, "share of values left out as outliers"),
    figure("CLIPPED", clippedFraction, "share of pixels clipped in 1 of 50 frames"),
    ...(last && last.expected > 0
      ? [figure("EVENODD", last.measured / last.expected, "even against odd frames, over noise")]
      : []),
    ...(halves
      ? [
          figure("HALFRMS", halves.driftRms, "first against second half, share of level"),
          figure("HALFSIG", halves.driftSigma, "one sigma of HALFRMS"),
        ]
      : []),
    ...(halves?.worst
      ? [
          figure("HALFMOST", halves.worst.change, "the same at the worst place, 8 px squares"),
          figure("HALFMSIG", halves.worst.sigma, "one sigma of HALFMOST"),
          figure("HALFX", halves.worst.xPx, "[px] column of that place"),
          figure("HALFY", halves.worst.yPx, "[px] row of that place"),
        ]
      : []),
    ...(separation
      ? [
          figure("SUNLEFT", separation.unseparated, "Sun not told from the rig, rms share of level"),
          figure("SUNCHNG", separation.sunChange, "change of the Sun, over noise of a frame"),
        ]
      : []),
  ];
}

/** What a header tells of how well the frames agreed; `undefined` for what it does not tell. */
export function readFigures(header: FitsHeader): SeriesAgreement {
  return {
    clippedFraction: header.number("CLIPPED"),
    evenOdd: header.number("EVENODD"),
    driftRms: header.number("HALFRMS"),
    driftSigma: header.number("HALFSIG"),
    worst: readWorst(header),
    unseparated: header.number("SUNLEFT"),
    sunChange: header.number("SUNCHNG"),
  };
}

function readWorst(header: FitsHeader): SeriesAgreement["worst"] {
  const [change, sigma, xPx, yPx] = ["HALFMOST", "HALFMSIG", "HALFX", "HALFY"].map((key) =>
    header.number(key),
  );
  if (change === undefined || sigma === undefined || xPx === undefined || yPx === undefined) return undefined;
  return { change, sigma, xPx, yPx };
}

function figure(keyword: string, value: number, comment: string): Card {
  return { keyword, value: Number(value.toPrecision(5)), comment };
}
