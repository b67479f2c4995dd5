import { StreamLimitError } from "./errors.ts";

export interface Tag {
  readonly name: string;
  readonly attributes: ReadonlyMap<string, string>;
  readonly closes: boolean;
  readonly selfClosed: boolean;
}

const noAttributes: ReadonlyMap<string, string> = new Map();
const attributePattern = /\s*([^\s=/"']+)\s*=\s*(?:"([^"]*)"|'([^']*)')/y;

/**
 * @param text what stands between `<` and `>`
 * @returns `undefined` if it is no tag
 * @throws StreamLimitError for an attribute value of more than `attributeBytesMax` characters
 */
export function parseTag(text: string, attributeBytesMax: number): Tag | undefined {
  const clean = text.includes("\0") ? text.replaceAll("\0", "") : text;
  const head = /^(\/?)([A-Za-z_][\w.:-]*)/.exec(clean);
  if (!head) return undefined;
  const closes = head[1] === "/";
  const name = head[2]!;
  const selfClosed = !closes && clean.endsWith("/");
  const end = selfClosed ? clean.length - 1 : clean.length;
  if (closes || head[0].length === end) {
    if (clean.slice(head[0].length, end).trim() !== "") return undefined;
    return { name, attributes: noAttributes, closes, selfClosed };
  }
  const attributes = new Map<string, string>();
  let at = head[0].length;
  while (at < end) {
    attributePattern.lastIndex = at;
    const found = attributePattern.exec(clean);
    if (!found) break;
    const value = found[2] ?? found[3] ?? "";
    if (value.length > attributeBytesMax) throw new StreamLimitError("an attribute", attributeBytesMax);
    attributes.set(found[1]!, decodeEntities(value));
    at = attributePattern.lastIndex;
  }
  if (clean.slice(at, end).trim() !== "") return undefined;
  return { name, attributes, closes, selfClosed };
}

const entities: Record<string, string> = { amp: "&", lt: "<", gt: ">", quot: '"', apos: "'" };

/** The five named entities and numeric references; anything else stays as it is. */
export function decodeEntities(text: string): string {
  if (!text.includes("&")) return text;
  return text.replace(
    /&(?:(amp|lt|gt|quot|apos)|#(\d{1,7})|#[xX]([0-9a-fA-F]{1,6}));/g,
    (whole, name, decimal, hex) => {
      if (name !== undefined) return entities[name as string]!;
      const code = decimal === undefined ? Number.parseInt(hex as string, 16) : Number(decimal);
      return code > 0 && code <= 0x10ffff ? String.fromCodePoint(code) : whole;
    },
  );
}

/** For attribute values and text alike; NUL can't be sent at all. */
export function encodeEntities(text: string): string {
  return text
    .replaceAll("\0", "")
    .replaceAll("&", "&amp;")
    .replaceAll("<", "&lt;")
    .replaceAll(">", "&gt;")
    .replaceAll('"', "&quot;")
    .replaceAll("'", "&apos;");
}
