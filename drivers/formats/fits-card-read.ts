import { type Card, type CardValue, isCommentary } from "./fits-card.ts";

/**
 * Cards from the 80-character lines before END. Lenient where files of real devices are sloppy: keywords in
 * lower case, no blank after "=", values that are none of the standard's forms (kept as text).
 */
export function parseCards(lines: readonly string[]): Card[] {
  const cards: Card[] = [];
  for (let index = 0; index < lines.length; index++) {
    const card = parseCard(lines[index]!);
    const parts = { value: card.value, comment: card.comment };
    while (typeof parts.value === "string" && parts.value.endsWith("&") && isContinuation(lines[index + 1])) {
      index += 1;
      const more = parseValue(lines[index]!.slice(10));
      parts.value = parts.value.slice(0, -1) + String(more.value ?? "");
      parts.comment = [parts.comment, more.comment].filter(Boolean).join(" ") || undefined;
    }
    cards.push({
      keyword: card.keyword,
      value:
        typeof parts.value === "string" && !isCommentary(card.keyword) ? parts.value.trimEnd() : parts.value,
      ...(parts.comment === undefined ? {} : { comment: parts.comment }),
    });
  }
  return cards;
}

function isContinuation(text: string | undefined): boolean {
  return text !== undefined && /^CONTINUE {2}\s*'/.test(text);
}

function parseCard(text: string): Card {
  const hierarch = /^HIERARCH +([^=]*?) *=(.*)$/.exec(text);
  if (hierarch) return { keyword: hierarch[1]!, ...parseValue(hierarch[2]!) };
  const keyword = text.slice(0, 8).trimEnd().toUpperCase();
  if (isCommentary(keyword) || text[8] !== "=") return { keyword, value: text.slice(8).trimEnd() };
  return { keyword, ...parseValue(text.slice(9)) };
}

function parseValue(text: string): { value: CardValue; comment?: string } {
  const start = text.trimStart();
  const string = /^'((?:[^']|'')*)'(.*)$/.exec(start);
  if (string) return { value: string[1]!.replaceAll("''", "'"), ...parseComment(string[2]!) };
  const slash = start.indexOf("/");
  const plain = (slash < 0 ? start : start.slice(0, slash)).trim();
  return { value: parsePlain(plain), ...(slash < 0 ? {} : parseComment(start.slice(slash))) };
}

function parseComment(text: string): { comment?: string } {
  const slash = text.indexOf("/");
  if (slash < 0) return {};
  const comment = text
    .slice(slash + 1)
    .replace(/^ /, "")
    .trimEnd();
  return comment === "" ? {} : { comment };
}

function parsePlain(text: string): CardValue {
  if (text === "") return undefined;
  if (text === "T") return true;
  if (text === "F") return false;
  if (/^[+-]?\d+$/.test(text)) {
    const value = Number(text);
    return Number.isSafeInteger(value) ? value : BigInt(text.replace(/^\+/, ""));
  }
  if (/^[+-]?(\d+\.?\d*|\.\d+)([ED][+-]?\d+)?$/i.test(text)) return Number(text.replace(/[dD]/, "E"));
  return text;
}
