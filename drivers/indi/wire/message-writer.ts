import { plainDecimal } from "./number-text.ts";
import type { ElementValue, PropertyKind } from "./property.ts";
import { encodeEntities } from "./xml-tag.ts";

const titles = { text: "Text", number: "Number", switch: "Switch" } as const;
export type WritableKind = keyof typeof titles;

export function isWritable(kind: PropertyKind): kind is WritableKind {
  return kind in titles;
}

/** Always this version: reference drivers exit at a request that has none or a later one. */
export function getPropertiesText(device?: string, name?: string): string {
  return `<getProperties version="1.7"${attribute("device", device)}${attribute("name", name)}/>\n`;
}

export function enableBlobText(mode: "Also" | "Only" | "Never", device: string, name?: string): string {
  return `<enableBLOB${attribute("device", device)}${attribute("name", name)}>${mode}</enableBLOB>\n`;
}

export function pingRequestText(uid: string): string {
  return `<pingRequest uid="${encodeEntities(uid)}"/>\n`;
}

export function pingReplyText(uid: string): string {
  return `<pingReply uid="${encodeEntities(uid)}"/>\n`;
}

/** One command. Numbers go as plain decimals; @throws RangeError for one that is not finite */
export function newVectorText(
  kind: WritableKind,
  device: string,
  name: string,
  values: ReadonlyMap<string, ElementValue>,
): string {
  const title = titles[kind];
  const lines = [`<new${title}Vector${attribute("device", device)}${attribute("name", name)}>`];
  for (const [element, value] of values) {
    lines.push(
      `  <one${title}${attribute("name", element)}>${encodeEntities(valueText(value))}</one${title}>`,
    );
  }
  lines.push(`</new${title}Vector>\n`);
  return lines.join("\n");
}

function valueText(value: ElementValue): string {
  if (typeof value === "number") return plainDecimal(value);
  if (typeof value === "boolean") return value ? "On" : "Off";
  return value;
}

function attribute(name: string, value: string | undefined): string {
  return value === undefined ? "" : ` ${name}="${encodeEntities(value)}"`;
}
