import type { XmlElement } from "./element-parser.ts";
import { escapeXml } from "./vector-xml.ts";

/** An element as text again. */
export function writeElement(element: XmlElement): string {
  const attributes = Object.entries(element.attributes)
    .map(([name, value]) => ` ${name}="${escapeXml(value)}"`)
    .join("");
  const head = `<${element.tag}${attributes}`;
  if (element.children.length > 0) {
    return `${head}>\n${element.children.map(writeElement).join("")}</${element.tag}>\n`;
  }
  const text = element.text.trim();
  return text === "" ? `${head}/>\n` : `${head}>\n${escapeXml(text)}\n</${element.tag}>\n`;
}
