import type { Card } from "../fits-card.ts";
import { FitsHeader } from "../fits-header.ts";

/** Keywords of the table alone, or of the compression. Source: FITS Standard 4.0, tables 33 to 36 and section 10.1. */
const ofTable =
  /^(XTENSION|BITPIX|NAXIS\d*|PCOUNT|GCOUNT|TFIELDS|THEAP|TTYPE\d+|TFORM\d+|TUNIT\d+|TNULL\d+|TSCAL\d+|TZERO\d+|TDISP\d+|TDIM\d+|ZIMAGE|ZTILE\d+|ZNAME\d+|ZVAL\d+|ZCMPTYPE|ZQUANTIZ|ZDITHER0|ZMASKCMP|ZBLANK|ZSIMPLE|ZTENSION|ZEXTEND|ZBLOCKED|CHECKSUM|DATASUM|FZALGOR|FZTILE|FZQMETHD|FZQVALUE|FZALGn|END)$/;

const asBefore: Readonly<Record<string, string>> = {
  ZBITPIX: "BITPIX",
  ZNAXIS: "NAXIS",
  ZPCOUNT: "PCOUNT",
  ZGCOUNT: "GCOUNT",
  ZHECKSUM: "CHECKSUM",
  ZDATASUM: "DATASUM",
};

/** The header that the picture had before it was compressed. */
export function headerBeforeTiling(header: FitsHeader): FitsHeader {
  const cards = header.cards.flatMap((card): Card[] => {
    const axis = /^ZNAXIS(\d+)$/.exec(card.keyword)?.[1];
    const keyword = axis === undefined ? asBefore[card.keyword] : `NAXIS${axis}`;
    if (keyword !== undefined) return [{ ...card, keyword }];
    if (ofTable.test(card.keyword)) return [];
    // The name that stands for none.
    if (card.keyword === "EXTNAME" && card.value === "COMPRESSED_IMAGE") return [];
    return [card];
  });
  return new FitsHeader(cards);
}
