import { ccdHdus } from "../../drivers/formats/ccd-image.ts";
import type { Card } from "../../drivers/formats/fits-card.ts";
import type { HduToWrite } from "../../drivers/formats/fits-write.ts";
import type { Master } from "../imaging/combining/finish-master.ts";
import type { Flat } from "../imaging/combining/normalise-flat.ts";
import { maskLegend } from "./mask-legend.ts";
import {
  type ExposureSpan,
  figureCards,
  originCards,
  type SeriesFigures,
  timeCards,
} from "./master-cards.ts";

/** Where a master comes from. */
export interface MasterOrigin {
  /** What its frames have in common. */
  readonly cards: readonly Card[];
  readonly spans: readonly ExposureSpan[];
  /** Name of the dark that was taken off. */
  readonly darkFile?: string;
  /** What is said besides, last. */
  readonly more?: readonly Card[];
}

/** A master dark or bias for a file: adu, UNCERT one sigma, MASK flags. */
export function darkHdus(master: Master, origin: MasterOrigin, kind: "dark" | "bias" = "dark"): HduToWrite[] {
  const { widthPx, heightPx } = master.shape;
  const image = { widthPx, heightPx, data: master.meanAdu, sigma: master.sigmaAdu, mask: master.mask };
  const cards = masterCards(kind === "bias" ? "Master Bias" : "Master Dark", master, origin);
  return ccdHdus(image, { unit: "adu", cards, maskCards: maskLegend });
}

/** A master flat as every FITS reader takes it in: mean 1 over the lit field, UNCERT one sigma, MASK flags. */
export function flatHdus(flat: Flat, series: SeriesFigures, origin: MasterOrigin): HduToWrite[] {
  const { widthPx, heightPx } = flat.shape;
  const image = { widthPx, heightPx, data: flat.gain, sigma: flat.sigma, mask: flat.mask };
  const level: Card = {
    keyword: "FLATLEVL",
    value: Number(flat.levelAdu.toPrecision(8)),
    comment: "[adu] level above the dark that is 1 here",
  };
  const cards = masterCards("Master Flat", series, origin, [level]);
  return ccdHdus(image, { unit: "", cards, maskCards: maskLegend });
}

function masterCards(
  imageType: string,
  series: SeriesFigures,
  { cards, spans, darkFile, more = [] }: MasterOrigin,
  own: readonly Card[] = [],
): Card[] {
  return [
    ...cards,
    { keyword: "IMAGETYP", value: imageType },
    ...timeCards(spans),
    ...originCards(series.frameCount, darkFile),
    ...figureCards(series),
    ...own,
    ...more,
  ];
}
