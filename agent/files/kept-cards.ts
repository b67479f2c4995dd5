import { type Card, isCommentary, isKeyword } from "../../drivers/formats/fits-card.ts";

/** What is no longer true of pixels that were computed, or is written newly. */
const outdated = /^(DATAMIN|DATAMAX|CBLACK|CWHITE|PEDESTAL|FILENAME|BUNIT|SWMODIFY|INHERIT)$/;

/** A header's cards that still hold for what is made from its image. */
export function keptCards(cards: readonly Card[]): Card[] {
  return cards.flatMap((card) => {
    if (isCommentary(card.keyword)) return [card];
    if (isKeyword(card.keyword)) return outdated.test(card.keyword) ? [] : [card];
    // Long and odd keywords of other conventions stay readable.
    return [
      { keyword: "COMMENT", value: `${card.keyword} = ${String(card.value ?? "")} / ${card.comment ?? ""}` },
    ];
  });
}
