import type { Card } from "../../drivers/formats/fits-card.ts";
import { isCommentary } from "../../drivers/formats/fits-card.ts";

/** What is no longer true of pixels that were computed anew, or is said anew. */
const outdated =
  /^(DATAMIN|DATAMAX|CBLACK|CWHITE|PEDESTAL|FILENAME|BUNIT|SWCREATE|SWMODIFY|TTYPE\d*|TFORM\d*|INHERIT)$/;

/** A header's cards that still hold for what is made from its image. */
export function handedOn(cards: readonly Card[]): Card[] {
  return cards.filter((card) => {
    if (isCommentary(card.keyword)) return true;
    // Keywords that only the HIERARCH convention can carry stay readable as a comment.
    return /^[A-Z0-9_-]{1,8}$/.test(card.keyword) && !outdated.test(card.keyword);
  });
}
