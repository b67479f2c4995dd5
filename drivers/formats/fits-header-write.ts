import { type Card, formatCard, isCommentary } from "./fits-card.ts";
import { addSums, checksumText, sumOfBytes } from "./fits-checksum.ts";
import { blockBytes } from "./fits-header.ts";
import type { PixelType } from "./fits-pixels.ts";

/** What is needed of an HDU before its pixels are known. */
export interface HduPlan {
  readonly type: PixelType;
  /** Slowest axis first: an image is [heightPx, widthPx]; empty for a header without data. */
  readonly shape: readonly number[];
  /** Those that follow from shape and type, DATE, CHECKSUM and DATASUM are written by the writer; given ones are ignored. */
  readonly cards?: readonly Card[];
  /** EXTNAME. */
  readonly name?: string;
}

const bitpixOf = {
  uint8: 8,
  int16: 16,
  uint16: 16,
  int32: 32,
  uint32: 32,
  float32: -32,
  float64: -64,
} as const satisfies Record<PixelType, number>;

export function dataBytesOf(plan: HduPlan): number {
  if (plan.shape.length === 0) return 0;
  return plan.shape.reduce((product, length) => product * length, Math.abs(bitpixOf[plan.type]) / 8);
}

export function paddedBytes(bytes: number): number {
  return Math.ceil(bytes / blockBytes) * blockBytes;
}

/** What the writer itself decides. */
const ownKeywords =
  /^(SIMPLE|XTENSION|BITPIX|NAXIS\d*|EXTEND|PCOUNT|GCOUNT|GROUPS|BSCALE|BZERO|BLANK|DATE|LONGSTRN|CHECKSUM|DATASUM|CONTINUE|END)$/;

/** A header of whole blocks with DATASUM and CHECKSUM in place. */
export function headerBytes(
  plan: HduPlan,
  place: {
    readonly index: number;
    readonly hduCount: number;
    readonly writtenUtcMs: number;
    readonly dataSum: number;
  },
): Uint8Array {
  const userLines = ownCards(plan).flatMap(formatCard);
  const zeros = "0".repeat(16);
  const lines = [
    ...structureCards(plan, place.index, place.hduCount).flatMap(formatCard),
    ...formatCard({
      keyword: "DATE",
      value: utcText(place.writtenUtcMs),
      comment: "UTC when this file was written",
    }),
    ...(userLines.some((text) => text.startsWith("CONTINUE"))
      ? formatCard({ keyword: "LONGSTRN", value: "OGIP 1.0", comment: "strings may continue over cards" })
      : []),
    ...userLines,
    ...formatCard({ keyword: "CHECKSUM", value: zeros, comment: "sum of the whole HDU is all ones" }),
    ...formatCard({ keyword: "DATASUM", value: String(place.dataSum), comment: "sum of the data" }),
    "END".padEnd(80),
  ];
  const bytes = new Uint8Array(paddedBytes(lines.length * 80)).fill(0x20);
  new TextEncoder().encodeInto(lines.join(""), bytes);
  const text = checksumText(addSums(sumOfBytes(bytes), place.dataSum));
  const checksumLine = lines.findIndex((line) => line.startsWith("CHECKSUM="));
  new TextEncoder().encodeInto(text, bytes.subarray(checksumLine * 80 + 11));
  return bytes;
}

/** Keywords without a value are left out (fitsverify warns of them); of a repeated one the last counts. */
function ownCards(plan: HduPlan): Card[] {
  const once = new Map<string | symbol, Card>();
  for (const card of plan.cards ?? []) {
    if (ownKeywords.test(card.keyword) || (card.keyword === "EXTNAME" && plan.name !== undefined)) continue;
    if (isCommentary(card.keyword)) once.set(Symbol(card.keyword), card);
    else if (hasValue(card)) once.set(card.keyword, card);
  }
  return [...once.values()];
}

function hasValue(card: Card): boolean {
  return card.value !== undefined && (typeof card.value !== "number" || Number.isFinite(card.value));
}

function structureCards(plan: HduPlan, index: number, hduCount: number): Card[] {
  const axes = plan.shape.toReversed();
  const unsignedZero = { uint16: 32768, uint32: 2147483648 }[plan.type as string];
  return [
    index === 0
      ? { keyword: "SIMPLE", value: true, comment: "FITS Standard 4.0" }
      : { keyword: "XTENSION", value: "IMAGE", comment: "image extension" },
    { keyword: "BITPIX", value: bitpixOf[plan.type], comment: "bits of a stored value, negative: IEEE real" },
    { keyword: "NAXIS", value: axes.length, comment: "number of axes" },
    ...axes.map((length, axis) => ({ keyword: `NAXIS${axis + 1}`, value: length })),
    ...(index === 0
      ? hduCount > 1
        ? [{ keyword: "EXTEND", value: true, comment: "extensions follow" }]
        : []
      : [
          { keyword: "PCOUNT", value: 0 },
          { keyword: "GCOUNT", value: 1 },
        ]),
    ...(plan.name === undefined ? [] : [{ keyword: "EXTNAME", value: plan.name }]),
    ...(unsignedZero === undefined
      ? []
      : [
          { keyword: "BSCALE", value: 1 },
          { keyword: "BZERO", value: unsignedZero, comment: "stored signed, meant unsigned" },
        ]),
  ];
}

/** YYYY-MM-DDThh:mm:ss.sss, as FITS writes dates. */
export function utcText(utcMs: number): string {
  return new Date(utcMs).toISOString().slice(0, 23);
}
