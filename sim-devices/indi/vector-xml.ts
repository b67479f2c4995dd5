import { printNumber } from "./number-text.ts";
import type { Vector } from "./vector.ts";

/** XML as the reference server sends it: double quotes, one child a line, the text on a line of its own. */

const entities: Readonly<Record<string, string>> = {
  "&": "&amp;",
  "<": "&lt;",
  ">": "&gt;",
  '"': "&quot;",
  "'": "&apos;",
};

export function escapeXml(text: string): string {
  return text.replace(/[&<>"']/g, (c) => entities[c] ?? c);
}

function attributes(pairs: readonly (readonly [string, string | number | undefined])[]): string {
  return pairs
    .map(([name, value]) => (value === undefined ? "" : ` ${name}="${escapeXml(String(value))}"`))
    .join("");
}

function child(tag: string, attrs: string, text: string): string {
  return text === ""
    ? `    <${tag}${attrs}/>\n`
    : `    <${tag}${attrs}>\n${escapeXml(text)}\n    </${tag}>\n`;
}

/** UTC, whole seconds, no zone. */
export function indiTime(utcMs: number): string {
  return new Date(utcMs).toISOString().slice(0, 19);
}

export function defXml(device: string, vector: Vector, utcMs: number): string {
  const { kind } = vector;
  const head = attributes([
    ["device", device],
    ["name", vector.name],
    ["label", vector.label],
    ["group", vector.group],
    ["state", vector.state],
    ["perm", kind === "Light" ? undefined : vector.perm],
    ["rule", kind === "Switch" ? vector.rule : undefined],
    ["timeout", kind === "Light" ? undefined : vector.timeout],
    ["timestamp", indiTime(utcMs)],
  ]);
  return `<def${kind}Vector${head}>\n${defChildren(vector)}</def${kind}Vector>\n`;
}

function defChildren(vector: Vector): string {
  const tag = `def${vector.kind}`;
  const named = (e: { name: string; label: string }) =>
    attributes([
      ["name", e.name],
      ["label", e.label],
    ]);
  if (vector.kind === "BLOB") return vector.elements.map((e) => child(tag, named(e), "")).join("");
  if (vector.kind === "Number") {
    return vector.elements
      .map((e) => {
        const limits = [
          ["min", e.min],
          ["max", e.max],
          ["step", e.step],
        ] as const;
        const numbers = limits.map(([name, value]) => [name, printNumber(value)] as const);
        return child(tag, named(e) + attributes([["format", e.format], ...numbers]), printNumber(e.value));
      })
      .join("");
  }
  return vector.elements.map((e) => child(tag, named(e), printValue(e.value))).join("");
}

export function setXml(
  device: string,
  vector: Exclude<Vector, { kind: "BLOB" }>,
  utcMs: number,
  message?: string,
): string {
  const { kind } = vector;
  const head = attributes([
    ["device", device],
    ["name", vector.name],
    ["state", vector.state],
    ["timeout", kind === "Light" ? undefined : vector.timeout],
    ["timestamp", indiTime(utcMs)],
    ["message", message],
  ]);
  const children =
    kind === "Number"
      ? vector.elements.map((e) => child("oneNumber", attributes([["name", e.name]]), printNumber(e.value)))
      : vector.elements.map((e) => child(`one${kind}`, attributes([["name", e.name]]), printValue(e.value)));
  return `<set${kind}Vector${head}>\n${children.join("")}</set${kind}Vector>\n`;
}

function printValue(value: string | boolean): string {
  return typeof value === "string" ? value : value ? "On" : "Off";
}

export function messageXml(device: string, text: string, utcMs: number): string {
  return `<message${attributes([
    ["device", device],
    ["timestamp", indiTime(utcMs)],
    ["message", text],
  ])}/>\n`;
}

export function delXml(device: string, name: string | undefined, utcMs: number): string {
  return `<delProperty${attributes([
    ["device", device],
    ["name", name],
    ["timestamp", indiTime(utcMs)],
  ])}/>\n`;
}

/** What stands before and after the payload of one BLOB: size and length, one line of base64, never `enclen`. */
export function blobEnvelope(
  device: string,
  options: { vector: string; element: string; format: string; size: number; length: number; utcMs: number },
): { before: string; after: string } {
  const { vector, element, format, size, length, utcMs } = options;
  const head = attributes([
    ["device", device],
    ["name", vector],
    ["state", "Ok"],
    ["timeout", 60],
    ["timestamp", indiTime(utcMs)],
  ]);
  const one = attributes([
    ["name", element],
    ["size", size],
    ["format", format],
    ["len", length],
  ]);
  return {
    before: `<setBLOBVector${head}>\n    <oneBLOB${one}>\n`,
    after: "\n    </oneBLOB>\n</setBLOBVector>\n",
  };
}
