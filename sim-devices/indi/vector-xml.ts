import type { XmlElement } from "./element-parser.ts";
import { printNumber } from "./number-text.ts";
import type { Vector } from "./vector.ts";

type Attributes = Readonly<Record<string, string | number | undefined>>;

const entities: Readonly<Record<string, string>> = {
  "&": "&amp;",
  "<": "&lt;",
  ">": "&gt;",
  '"': "&quot;",
  "'": "&apos;",
};

const special = /[&<>"']/;

function escapeXml(text: string): string {
  return special.test(text) ? text.replace(/[&<>"']/g, (c) => entities[c] ?? c) : text;
}

function openTag(tag: string, attributes: Attributes): string {
  let open = `<${tag}`;
  for (const name in attributes) {
    const value = attributes[name];
    if (value !== undefined) open += ` ${name}="${escapeXml(String(value))}"`;
  }
  return open;
}

/**
 * XML as the reference server sends it: double quotes, one child a line, the text on a line of its own.
 * @param content lines of XML; empty: the element closes itself
 */
export function xmlOf(tag: string, attributes: Attributes, content = "", indent = ""): string {
  const open = `${indent}${openTag(tag, attributes)}`;
  return content === "" ? `${open}/>\n` : `${open}>\n${content}${indent}</${tag}>\n`;
}

function textLine(text: string): string {
  return text === "" ? "" : `${escapeXml(text)}\n`;
}

/** An element as text again. */
export function writeElement({ tag, attributes, children, text }: XmlElement): string {
  return xmlOf(tag, attributes, children.map(writeElement).join("") || textLine(text.trim()));
}

/** UTC, whole seconds, no zone. */
export function indiTime(utcMs: number): string {
  return new Date(utcMs).toISOString().slice(0, 19);
}

export function defXml(device: string, vector: Vector, utcMs: number): string {
  const { kind, name, label, group, state, perm, timeout } = vector;
  const isLight = kind === "Light";
  const head = {
    device,
    name,
    label,
    group,
    state,
    perm: isLight ? undefined : perm,
    rule: kind === "Switch" ? vector.rule : undefined,
    timeout: isLight ? undefined : timeout,
    timestamp: indiTime(utcMs),
  };
  const children = vector.elements.map((element) => {
    const limits: Attributes =
      "min" in element
        ? {
            format: element.format,
            min: printNumber(element.min),
            max: printNumber(element.max),
            step: printNumber(element.step),
          }
        : {};
    return child(`def${kind}`, { name: element.name, label: element.label, ...limits }, element.value);
  });
  return xmlOf(`def${kind}Vector`, head, children.join(""));
}

export function setXml(device: string, vector: Vector, utcMs: number, message?: string): string {
  const { kind, name, state } = vector;
  const timeout = kind === "Light" ? undefined : vector.timeout;
  const head = { device, name, state, timeout, timestamp: indiTime(utcMs), message };
  const children = vector.elements.map((e) => child(`one${kind}`, { name: e.name }, e.value));
  return xmlOf(`set${kind}Vector`, head, children.join(""));
}

function child(tag: string, attributes: Attributes, value: string | number | boolean): string {
  const text = typeof value === "number" ? printNumber(value) : value === true ? "On" : value || "Off";
  return xmlOf(tag, attributes, value === "" ? "" : textLine(text), "    ");
}

export function messageXml(device: string, text: string, utcMs: number): string {
  return xmlOf("message", { device, timestamp: indiTime(utcMs), message: text });
}

export function delXml(device: string, name: string | undefined, utcMs: number): string {
  return xmlOf("delProperty", { device, name, timestamp: indiTime(utcMs) });
}

/** What stands before and after the payload of one BLOB: size and length, one line of base64, never `enclen`. */
export function blobEnvelope(
  device: string,
  options: { vector: string; element: string; format: string; size: number; length: number; utcMs: number },
): { before: string; after: string } {
  const { vector, element, format, size, length, utcMs } = options;
  const timestamp = indiTime(utcMs);
  const head = openTag("setBLOBVector", { device, name: vector, state: "Ok", timeout: 60, timestamp });
  const one = openTag("oneBLOB", { name: element, size, format, len: length });
  return { before: `${head}>\n    ${one}>\n`, after: "\n    </oneBLOB>\n</setBLOBVector>\n" };
}
