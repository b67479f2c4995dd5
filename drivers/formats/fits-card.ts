/**
 * Header cards of 80 characters, and how they are written; `fits-card-read.ts` reads them.
 * Source: FITS Standard 4.0, sections 4.1, 4.2 and 4.2.1.2 (strings over several cards).
 */

/** `undefined` is a keyword without a value. Whole numbers beyond 2^53 are read as bigint. */
export type CardValue = string | number | bigint | boolean | undefined;

/** One keyword. For COMMENT, HISTORY and the blank keyword the value is the text. */
export interface Card {
  readonly keyword: string;
  readonly value?: CardValue;
  readonly comment?: string;
}

export const cardLength = 80;

export function isCommentary(keyword: string): boolean {
  return keyword === "COMMENT" || keyword === "HISTORY" || keyword === "";
}

/** 1 to 8 of A-Z, 0-9, "-" and "_": what can be written. */
export function isKeyword(keyword: string): boolean {
  return /^[A-Z0-9_-]{1,8}$/.test(keyword);
}

/**
 * One card as 80-character lines: several for a long string or a long comment.
 * Characters outside ASCII are written without accents, or as "?"; a number that is not finite as no value.
 * @throws RangeError for a keyword that `isKeyword` refuses
 */
export function formatCard(card: Card): string[] {
  const { keyword } = card;
  if (isCommentary(keyword)) return formatCommentary(keyword, ascii(String(card.value ?? "")));
  if (!isKeyword(keyword)) throw new RangeError(`"${keyword}" is not a FITS keyword`);
  const comment = ascii(card.comment ?? "").trimEnd();
  if (typeof card.value === "string") return formatText(keyword, ascii(card.value).trimEnd(), comment);
  const value = formatPlain(card.value).padStart(20);
  return [line(`${keyword.padEnd(8)}= ${value}`, comment)];
}

function line(start: string, comment: string): string {
  const whole = comment === "" ? start : `${start} / ${comment}`;
  return whole.slice(0, cardLength).padEnd(cardLength);
}

function formatPlain(value: number | bigint | boolean | undefined): string {
  if (value === undefined) return "";
  if (typeof value === "boolean") return value ? "T" : "F";
  if (typeof value === "bigint") return value.toString();
  if (!Number.isFinite(value)) return "";
  if (Number.isSafeInteger(value) && !Object.is(value, -0)) return value.toString();
  const [mantissa, exponent] = value.toExponential().split("e") as [string, string];
  const power = Number(exponent);
  if (power >= -5 && power < 15) {
    const plain = Object.is(value, -0) ? "-0" : value.toString();
    if (!plain.includes("e")) return plain.includes(".") ? plain : `${plain}.0`;
  }
  return `${mantissa.includes(".") ? mantissa : `${mantissa}.0`}E${exponent}`;
}

/** Room for characters between the quotes of one card. */
const textRoom = 68;

function formatText(keyword: string, value: string, comment: string): string[] {
  const quoted = value.replaceAll("'", "''");
  const head = `${keyword.padEnd(8)}= `;
  const whole = `${head}'${quoted.padEnd(8)}'`.padEnd(30);
  if (quoted.length <= textRoom && (comment === "" || whole.length + 3 + comment.length <= cardLength)) {
    return [line(whole, comment)];
  }
  const pieces = splitText(quoted);
  // The comment goes beside the last piece, or on cards of its own.
  const lastPiece = pieces.at(-1)!;
  const notes =
    comment === "" || lastPiece.length + 12 + 3 + comment.length <= cardLength ? [] : splitWords(comment, 64);
  // A last "&" of the value's own would be taken for a promise of more: keep it, and keep the promise.
  const ownAmpersand = notes.length === 0 && lastPiece.endsWith("&");
  const strings = [...pieces, ...notes.map(() => ""), ...(ownAmpersand ? [""] : [])];
  return strings.map((piece, index) => {
    const last = index === strings.length - 1;
    const note = notes.length > 0 ? (notes[index - pieces.length] ?? "") : last ? comment : "";
    return line(`${index === 0 ? head : "CONTINUE  "}'${piece}${last ? "" : "&"}'`, note);
  });
}

/** Pieces that leave room for "&" and never part a doubled quote. */
function splitText(quoted: string): string[] {
  const pieces: string[] = [];
  let rest = quoted;
  while (rest.length > textRoom - 1) {
    let end = textRoom - 1;
    const quotesBefore = /'*$/.exec(rest.slice(0, end))![0].length;
    if (quotesBefore % 2 === 1) end -= 1;
    pieces.push(rest.slice(0, end));
    rest = rest.slice(end);
  }
  return [...pieces, rest];
}

/** At blanks where there are any; readers join the comments of several cards with a blank. */
function splitWords(text: string, room: number): string[] {
  const pieces: string[] = [];
  let rest = text;
  while (rest.length > room) {
    const blank = rest.lastIndexOf(" ", room);
    const end = blank > 0 ? blank : room;
    pieces.push(rest.slice(0, end));
    rest = rest.slice(blank > 0 ? end + 1 : end);
  }
  return [...pieces, rest];
}

function formatCommentary(keyword: string, text: string): string[] {
  return splitWords(text, 72).map((piece) => `${keyword.padEnd(8)}${piece}`.padEnd(cardLength));
}

/** What a header may hold: 0x20 to 0x7E. */
function ascii(text: string): string {
  return text
    .normalize("NFKD")
    .replaceAll("\u03bc", "u")
    .replace(/\p{M}/gu, "")
    .replace(/[^\x20-\x7e]/gu, "?");
}
