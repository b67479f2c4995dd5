import type { ByteLink, OpenLink } from "../../../drivers/kit/links.ts";
import { memoryOpener } from "../../../drivers/kit/memory-link.ts";

/** The far side of INDI links, wholly under the test's control: it says what it is told to, and writes down the rest. */
export class FarEnd {
  /** What clients sent, one piece a send, over all links in order. */
  readonly heard: string[] = [];
  readonly links: ByteLink[] = [];
  /** Refuses to open while this is set. */
  refuse: string | undefined;
  readonly #answers: { pattern: RegExp; answer: (text: string, link: ByteLink) => void }[] = [];

  readonly open: OpenLink = async (signal) => {
    if (this.refuse !== undefined) throw new Error(this.refuse);
    return this.#accept(signal);
  };

  readonly #accept = memoryOpener((link) => {
    this.links.push(link);
    void this.#listen(link);
  });

  async #listen(link: ByteLink): Promise<void> {
    try {
      for await (const chunk of link.incoming) {
        const text = new TextDecoder().decode(chunk);
        this.heard.push(text);
        for (const { pattern, answer } of this.#answers) if (pattern.test(text)) answer(text, link);
      }
    } catch {
      // cut
    }
    const index = this.links.indexOf(link);
    if (index >= 0) this.links.splice(index, 1);
  }

  /** Answers every piece that matches, with a text or by a deed. */
  on(pattern: RegExp, answer: string | ((text: string, link: ByteLink) => void)): this {
    const deed = typeof answer === "string" ? () => this.say(answer) : answer;
    this.#answers.push({ pattern, answer: deed });
    return this;
  }

  /** Sends to every client that is there. */
  say(text: string): void {
    for (const link of this.links) void link.send(Buffer.from(text)).catch(() => {});
  }

  /** As when the server's process ends. */
  async hangUp(): Promise<void> {
    for (const link of [...this.links]) await link.close();
  }

  heardCount(pattern: RegExp): number {
    return this.heard.filter((text) => pattern.test(text)).length;
  }
}

/** A short way to write vectors as a driver does. */
export function vector(
  action: "def" | "set",
  kind: "Number" | "Switch" | "Text" | "Light",
  device: string,
  name: string,
  state: string,
  values: Record<string, string | number>,
  attributes: Record<string, string> = {},
): string {
  const extra = action === "def" ? { perm: "rw", rule: "OneOfMany", ...attributes } : attributes;
  const head = Object.entries({ device, name, state, ...extra })
    .map(([key, value]) => ` ${key}="${value}"`)
    .join("");
  const child = action === "def" ? `def${kind}` : `one${kind}`;
  const limits = action === "def" && kind === "Number" ? ' min="0" max="100" step="0" format="%g"' : "";
  const children = Object.entries(values).map(
    ([element, value]) => `<${child} name="${element}"${limits}>\n${value}\n</${child}>`,
  );
  return `<${action}${kind}Vector${head}>\n${children.join("\n")}\n</${action}${kind}Vector>\n`;
}
