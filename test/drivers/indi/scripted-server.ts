import { readFileSync } from "node:fs";
import { SaxesParser } from "saxes";
import type { Clock } from "../../../drivers/kit/clock.ts";
import type { ByteLink, OpenLink } from "../../../drivers/kit/links.ts";
import { memoryOpener } from "../../../drivers/kit/memory-link.ts";

/** One element of the wire with its children, as text. Written for tests: it shares nothing with the client. */
export interface Wire {
  readonly tag: string;
  readonly attributes: Readonly<Record<string, string>>;
  readonly children: readonly Wire[];
  readonly text: string;
}

type Values = Record<string, string>;
type Kind = "Number" | "Switch" | "Text" | "Light" | "BLOB";

interface Vector {
  readonly kind: Kind;
  readonly attributes: Record<string, string>;
  readonly elements: Map<string, { attributes: Record<string, string>; value: string }>;
}

/** What a test's rule sees of one command. */
export interface Command {
  readonly device: string;
  readonly name: string;
  readonly values: Values;
  /** Since the server was made. */
  readonly atSeconds: number;
}

/**
 * The far end of an INDI link for tests: it knows the definitions that it is given (usually a recording's),
 * answers getProperties from its own state, and obeys the test's rules for commands.
 * A command without a rule is answered as the usual driver does: Ok with the new values.
 */
export class ScriptedServer {
  readonly #vectors = new Map<string, Vector>();
  readonly #rules = new Map<string, (command: Command) => void>();
  readonly #links = new Set<ByteLink>();
  readonly #ignored = new Set<string>();
  /** Every command that came, in order. */
  readonly commands: Command[] = [];
  /** Called before a question is answered, so that a rule can bring the state up to date. */
  beforeAnswer: (device: string | undefined, name: string | undefined) => void = () => {};
  /** Set to false for a driver that hangs: commands and questions alike get no answer, the server's pings do. */
  answering = true;
  /** How long everything that is said takes on its way [s]; commands arrive at once. */
  delaySeconds = 0;

  readonly #startMs: number;
  #refusesUntilMs = 0;

  constructor(readonly clock: Clock) {
    this.#startMs = clock.nowMs();
  }

  readonly #accept = memoryOpener((link) => {
    this.#links.add(link);
    void this.#serve(link).finally(() => this.#links.delete(link));
  });

  readonly open: OpenLink = (signal) => {
    if (this.clock.nowMs() < this.#refusesUntilMs) return Promise.reject(new Error("connection refused"));
    return this.#accept(signal);
  };

  /** Takes every `def*` and `set*` of a text into the state without sending it. */
  load(text: string, options: { only?: readonly string[]; without?: readonly string[] } = {}): this {
    for (const wire of parseWire(text)) {
      if (options.only && !options.only.includes(wire.attributes.device ?? "")) continue;
      if (options.without?.includes(wire.attributes.name ?? "")) continue;
      this.#apply(wire);
    }
    return this;
  }

  define(text: string): void {
    this.load(text);
    this.sendRaw(text);
  }

  /** The rule for commands to one property of any device. */
  on(name: string, rule: (command: Command) => void): this {
    this.#rules.set(name, rule);
    return this;
  }

  /** Commands to that property vanish without an answer. */
  ignore(name: string): this {
    this.#ignored.add(name);
    return this;
  }

  heed(name: string): this {
    this.#ignored.delete(name);
    return this;
  }

  value(device: string, name: string, element: string): string {
    const found = this.#vectors.get(`${device}/${name}`)?.elements.get(element)?.value;
    if (found === undefined) throw new Error(`no ${device}/${name}/${element} here`);
    return found;
  }

  /** Every value of a vector, for comparing before and after. */
  values(device: string, name: string): Values {
    const vector = this.#vectors.get(`${device}/${name}`);
    return Object.fromEntries([...(vector?.elements ?? [])].map(([element, { value }]) => [element, value]));
  }

  /** All that it has defined for a device, as the wire's text: what a restarted driver says. */
  definitions(device: string): string {
    return [...this.#vectors]
      .filter(([key]) => key.startsWith(`${device}/`))
      .map(([, vector]) => defText(vector))
      .join("");
  }

  has(device: string, name: string): boolean {
    return this.#vectors.has(`${device}/${name}`);
  }

  /** All values of all properties, as a separate reader would list them. */
  everyValue(options: { except?: readonly string[] } = {}): Values {
    const all: Values = {};
    for (const [key, vector] of this.#vectors) {
      if (options.except?.includes(key.split("/")[1]!)) continue;
      for (const [element, { value }] of vector.elements) all[`${key}.${element}`] = value;
    }
    return all;
  }

  /** Changes the state without telling anybody. */
  remember(device: string, name: string, values: Values): void {
    const elements = this.#vectors.get(`${device}/${name}`)?.elements;
    for (const [element, value] of Object.entries(values)) {
      const known = elements?.get(element);
      if (known) known.value = value;
    }
  }

  /** Changes the state and tells the clients. */
  set(device: string, name: string, state: string, values: Values = {}, message?: string): void {
    const vector = this.#vectors.get(`${device}/${name}`);
    if (!vector) throw new Error(`no ${device}/${name} here`);
    vector.attributes.state = state;
    for (const [element, value] of Object.entries(values)) {
      const known = vector.elements.get(element);
      if (known) known.value = value;
    }
    const inner = [...vector.elements]
      .map(([element, { value }]) => `<one${vector.kind} name="${element}">${value}</one${vector.kind}>`)
      .join("\n");
    const note = message === undefined ? "" : ` message="${message}"`;
    this.sendRaw(
      `<set${vector.kind}Vector device="${device}" name="${name}" state="${state}"${note}>${inner}</set${vector.kind}Vector>`,
    );
  }

  blob(device: string, name: string, bytes: Uint8Array, format = ".fits"): void {
    const text = Buffer.from(bytes).toString("base64");
    this.sendRaw(
      `<setBLOBVector device="${device}" name="${name}" state="Ok"><oneBLOB name="${name}" size="${bytes.length}" format="${format}" len="${bytes.length}">${text}</oneBLOB></setBLOBVector>`,
    );
  }

  delete(device: string, name?: string): void {
    for (const key of this.#vectors.keys()) {
      if (name === undefined ? key.startsWith(`${device}/`) : key === `${device}/${name}`)
        this.#vectors.delete(key);
    }
    this.sendRaw(`<delProperty device="${device}"${name === undefined ? "" : ` name="${name}"`}/>`);
  }

  message(device: string, text: string): void {
    this.sendRaw(`<message device="${device}" message="${text}"/>`);
  }

  /** Does it after that many seconds of the clock. */
  after(seconds: number, action: () => void): void {
    this.clock.setTimer(seconds, action);
  }

  /** Another client's command: told to us as servers do, then carried out. */
  commandFromElsewhere(device: string, name: string, given: Values): void {
    const vector = this.#vectors.get(`${device}/${name}`)!;
    const off = vector.kind === "Switch" ? "Off" : "0";
    const values = Object.fromEntries([...vector.elements.keys()].map((one) => [one, given[one] ?? off]));
    const inner = Object.entries(values).map(
      ([element, value]) => `<one${vector.kind} name="${element}">${value}</one${vector.kind}>`,
    );
    this.sendRaw(
      `<new${vector.kind}Vector device="${device}" name="${name}">${inner.join("")}</new${vector.kind}Vector>`,
    );
    this.#rules.get(name)?.({ device, name, values, atSeconds: Number.NaN });
  }

  /** Ends every link and takes no new one for so long. */
  hangUp(forSeconds: number): void {
    for (const link of this.#links) void link.close();
    this.#refusesUntilMs = this.clock.nowMs() + forSeconds * 1000;
  }

  sendRaw(text: string): void {
    for (const link of this.#links) this.#say(link, text);
  }

  #say(link: ByteLink, text: string): void {
    const send = () => void link.send(new TextEncoder().encode(text)).catch(() => {});
    if (this.delaySeconds > 0) this.after(this.delaySeconds, send);
    else send();
  }

  async #serve(link: ByteLink): Promise<void> {
    const parser = new SaxesParser();
    const stack: { tag: string; attributes: Record<string, string>; children: Wire[]; text: string }[] = [];
    parser.on("opentag", (tag) =>
      stack.push({ tag: tag.name, attributes: { ...(tag.attributes as Values) }, children: [], text: "" }),
    );
    parser.on("text", (text) => {
      const top = stack.at(-1);
      if (top) top.text += text;
    });
    parser.on("closetag", () => {
      const wire = stack.pop()!;
      if (stack.length > 1) stack.at(-1)!.children.push(wire);
      else if (stack.length === 1) this.#receive(link, wire);
    });
    parser.write("<root>");
    const decoder = new TextDecoder();
    try {
      for await (const chunk of link.incoming) parser.write(decoder.decode(chunk, { stream: true }));
    } catch {
      // a cut link ends the service of this client
    }
  }

  #receive(link: ByteLink, wire: Wire): void {
    const device = wire.attributes.device;
    const name = wire.attributes.name;
    if (wire.tag === "pingRequest") {
      this.#say(link, `<pingReply uid="${wire.attributes.uid}"/>`);
    } else if (!this.answering) {
      return; // the server's own ping above is answered all the same
    } else if (wire.tag === "getProperties") {
      this.beforeAnswer(device, name);
      for (const [key, vector] of this.#vectors) {
        const wanted =
          name === undefined
            ? device === undefined || key.startsWith(`${device}/`)
            : // The reference library is silent when asked for lights by their name (seen of 1.9.9).
              key === `${device}/${name}` && vector.kind !== "Light";
        if (wanted) this.#say(link, defText(vector));
      }
    } else if (wire.tag.startsWith("new") && device !== undefined && name !== undefined) {
      const values = Object.fromEntries(
        wire.children.map((one) => [one.attributes.name ?? "", one.text.trim()]),
      );
      const atSeconds = (this.clock.nowMs() - this.#startMs) / 1000;
      const command = { device, name, values, atSeconds };
      this.commands.push(command);
      if (this.#ignored.has(name)) return;
      const rule = this.#rules.get(name);
      if (rule) rule(command);
      else this.obey(command);
    }
  }

  /** The usual answer: the values are taken over and the state becomes Ok. */
  obey(command: Command): void {
    const vector = this.#vectors.get(`${command.device}/${command.name}`);
    if (!vector) return; // a real server is silent here too
    const values: Values = { ...command.values };
    const oneOnly = vector.attributes.rule === "OneOfMany" || vector.attributes.rule === "AtMostOne";
    if (vector.kind === "Switch" && oneOnly && Object.values(values).includes("On")) {
      for (const element of vector.elements.keys())
        values[element] = command.values[element] === "On" ? "On" : "Off";
    }
    this.set(command.device, command.name, "Ok", values);
  }

  #apply(wire: Wire): void {
    const match = /^(def|set)(Number|Switch|Text|Light|BLOB)Vector$/.exec(wire.tag);
    const key = `${wire.attributes.device}/${wire.attributes.name}`;
    if (!match) return;
    if (match[1] === "def") {
      this.#vectors.set(key, {
        kind: match[2] as Kind,
        attributes: { ...wire.attributes },
        elements: new Map(
          wire.children.map((one) => [
            one.attributes.name ?? "",
            { attributes: { ...one.attributes }, value: one.text.trim() },
          ]),
        ),
      });
      return;
    }
    const vector = this.#vectors.get(key);
    if (!vector || match[2] === "BLOB") return;
    vector.attributes.state = wire.attributes.state ?? vector.attributes.state ?? "Idle";
    for (const one of wire.children) {
      const known = vector.elements.get(one.attributes.name ?? "");
      if (known) known.value = one.text.trim();
    }
  }

  /** Sends a recorded far-end message now, keeping the state in step. */
  replay(wire: Wire): void {
    this.#apply(wire);
    this.sendRaw(wireText(wire));
  }
}

function defText(vector: Vector): string {
  const inner = [...vector.elements.values()]
    .map(
      ({ attributes, value }) =>
        `<def${vector.kind}${attributeText(attributes)}>${escapeXml(value)}</def${vector.kind}>`,
    )
    .join("\n");
  return `<def${vector.kind}Vector${attributeText(vector.attributes)}>${inner}</def${vector.kind}Vector>`;
}

function wireText(wire: Wire): string {
  return `<${wire.tag}${attributeText(wire.attributes)}>${escapeXml(wire.text.trim())}${wire.children.map(wireText).join("\n")}</${wire.tag}>`;
}

function attributeText(attributes: Readonly<Record<string, string>>): string {
  return Object.entries(attributes)
    .map(([name, value]) => ` ${name}="${escapeXml(value)}"`)
    .join("");
}

function escapeXml(text: string): string {
  return text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll('"', "&quot;");
}

/** The top-level elements of a text without a root. */
export function parseWire(text: string): Wire[] {
  const top: Wire[] = [];
  const stack: { tag: string; attributes: Record<string, string>; children: Wire[]; text: string }[] = [];
  const parser = new SaxesParser();
  parser.on("opentag", (tag) =>
    stack.push({ tag: tag.name, attributes: { ...(tag.attributes as Values) }, children: [], text: "" }),
  );
  parser.on("text", (piece) => {
    const open = stack.at(-1);
    if (open) open.text += piece;
  });
  parser.on("closetag", () => {
    const wire = stack.pop()!;
    if (stack.length > 1) stack.at(-1)!.children.push(wire);
    else if (stack.length === 1) top.push(wire);
  });
  parser.write(`<root>${text}</root>`).close();
  return top;
}

/** A recording as steps: who spoke, at which second, and what. */
export function recordedSteps(text: string): { fromClient: boolean; atSeconds: number; wires: Wire[] }[] {
  const parts = text.split(/<!-- ([CS])->[CS] \+([\d.]+) -->/);
  const steps = [];
  for (let i = 1; i + 2 < parts.length; i += 3) {
    steps.push({
      fromClient: parts[i] === "C",
      atSeconds: Number(parts[i + 1]),
      wires: parseWire(parts[i + 2]!.replaceAll(/<!--[^>]*-->/g, "")),
    });
  }
  return steps;
}

export function recording(name: string): string {
  return readFileSync(`${import.meta.dirname}/recordings/${name}`, "utf8");
}
