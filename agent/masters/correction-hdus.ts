import type { Card } from "../../drivers/formats/fits-card.ts";
import type { HduToWrite } from "../../drivers/formats/fits-write.ts";
import type { LightCorrection } from "../imaging/light/correct-light.ts";
import type { LightFactors } from "../imaging/light/light-factors.ts";
import type { Shape } from "../imaging/numerics/shape.ts";

/** What was taken out of a flat's light, for its header. */
export function correctionCards(correction: LightCorrection): Card[] {
  const { kept, because, clearShare, smoothRms, heldOutLooks, before, after } = correction;
  const of = kept ? "divided out" : "found, not divided out";
  return [
    { keyword: "LIGHTCOR", value: kept, comment: "light was corrected by the Sun" },
    ...(clearShare
      ? [
          figure("LCORSHR", clearShare.share, `share of light through clear, ${of}`),
          figure("LCORSHSG", clearShare.sigma, "one sigma of it"),
        ]
      : []),
    ...(smoothRms === undefined ? [] : [figure("LCORMAP", smoothRms, `rms of a smooth map, ${of}`)]),
    { keyword: "LCORLOOK", value: heldOutLooks, comment: "frames of the Sun kept to prove that with" },
    ...(before && after
      ? [
          figure("LCORWAS", before.rms, "rms error of the light by them, as taken"),
          figure("LCORNOW", after.rms, "the same, corrected"),
        ]
      : []),
    ...(because === undefined
      ? []
      : [{ keyword: "COMMENT", value: `the light was not corrected: ${because}` } as const]),
  ];
}

/** The factors that a flat was divided by, each as an image of its own: times them it is as it was taken. */
export function factorHdus({ widthPx, heightPx }: Shape, { clear, smooth }: LightFactors): HduToWrite[] {
  const shape = [heightPx, widthPx];
  const hdu = (name: string, pixels: Float32Array | undefined, what: string): HduToWrite[] =>
    pixels ? [{ pixels, shape, name, cards: [{ keyword: "COMMENT", value: what }] }] : [];
  return [
    ...hdu("LIGHTCLR", clear, "the flat was divided by this: light that came through the sheet clear"),
    ...hdu("LIGHTMAP", smooth, "the flat was divided by this: a smooth map of the light, without a slope"),
  ];
}

function figure(keyword: string, value: number, comment: string): Card {
  return { keyword, value: Number(value.toPrecision(4)), comment };
}
