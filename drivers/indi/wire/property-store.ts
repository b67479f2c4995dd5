import type { IndiMessage, MessageElement } from "./message-reader.ts";
import { parseNumber } from "./number-text.ts";
import type {
  PropertyElement,
  PropertyKind,
  PropertyPerm,
  PropertyState,
  PropertyVector,
  SwitchRule,
} from "./property.ts";

const states: readonly string[] = ["Idle", "Ok", "Busy", "Alert"] satisfies PropertyState[];
const perms: readonly string[] = ["ro", "wo", "rw"] satisfies PropertyPerm[];
const rules: readonly string[] = ["OneOfMany", "AtMostOne", "AnyOfMany"] satisfies SwitchRule[];

/** The properties of one device as last told. Every change makes a new snapshot. */
export class PropertyStore {
  readonly #vectors = new Map<string, PropertyVector>();
  /** States before a command that is not answered yet: an update may come without a state of its own. */
  readonly #statesBefore = new Map<string, PropertyState>();

  get(name: string): PropertyVector | undefined {
    return this.#vectors.get(name);
  }

  all(): readonly PropertyVector[] {
    return [...this.#vectors.values()];
  }

  /** Takes a definition: a new property, or a known one told anew, which happens at any time. */
  define(message: IndiMessage): PropertyVector {
    const { attributes, kind = "text" } = message;
    const words = attributes.get("message");
    const vector: PropertyVector = {
      device: attributes.get("device") ?? "",
      name: attributes.get("name") ?? "",
      kind,
      state: stateFrom(attributes.get("state")) ?? "Idle",
      perm: kind === "light" ? "ro" : ((oneOf(perms, attributes.get("perm")) as PropertyPerm) ?? "rw"),
      rule: (oneOf(rules, attributes.get("rule")) as SwitchRule) ?? "AnyOfMany",
      label: attributes.get("label") || (attributes.get("name") ?? ""),
      group: attributes.get("group") ?? "",
      timeoutSeconds: parseNumber(attributes.get("timeout") ?? "0") || 0,
      elements: new Map(message.elements.map((element) => [element.name, definedElement(kind, element)])),
      revision: message.revision,
      definedRevision: message.revision,
      awaitingAnswer: false,
      ...(words ? { message: words } : {}),
    };
    this.#vectors.set(vector.name, vector);
    return vector;
  }

  /**
   * Takes an update, of all elements or of some.
   * @returns `undefined` when it fits no definition: updates may come before theirs, and some never get one
   */
  update(message: IndiMessage): PropertyVector | undefined {
    const before = this.#vectors.get(message.attributes.get("name") ?? "");
    if (!before || before.kind !== message.kind) return undefined;
    const elements = new Map(before.elements);
    for (const told of message.elements) {
      const known = elements.get(told.name);
      if (known) elements.set(told.name, updatedElement(before.kind, known, told));
    }
    const { message: _, ...rest } = before;
    const words = message.attributes.get("message");
    const vector: PropertyVector = {
      ...rest,
      state: stateFrom(message.attributes.get("state")) ?? this.#stateBefore(before),
      elements,
      revision: message.revision,
      awaitingAnswer: false,
      ...(words ? { message: words } : {}),
    };
    this.#vectors.set(vector.name, vector);
    return vector;
  }

  /** A command was sent: Busy until the device answers. */
  commanded(name: string): void {
    const before = this.#vectors.get(name);
    if (!before) return;
    this.#statesBefore.set(name, this.#stateBefore(before));
    this.#vectors.set(name, { ...before, state: "Busy", awaitingAnswer: true });
  }

  #stateBefore(vector: PropertyVector): PropertyState {
    return (vector.awaitingAnswer ? this.#statesBefore.get(vector.name) : undefined) ?? vector.state;
  }

  delete(name: string): boolean {
    return this.#vectors.delete(name);
  }

  clear(): void {
    this.#vectors.clear();
  }
}

function definedElement(kind: PropertyKind, told: MessageElement): PropertyElement {
  const base = {
    name: told.name,
    label: told.attributes.get("label") || told.name,
    value: valueFrom(kind, told.text),
  };
  if (kind !== "number") return base;
  return {
    ...base,
    min: 0,
    max: 0,
    step: 0,
    format: told.attributes.get("format") ?? "%g",
    ...limitsFrom(told),
  };
}

function updatedElement(kind: PropertyKind, known: PropertyElement, told: MessageElement): PropertyElement {
  if (kind === "blob") return known;
  return { ...known, value: valueFrom(kind, told.text), ...(kind === "number" ? limitsFrom(told) : {}) };
}

/** Limits come with definitions, and with updates when a driver changes them. */
function limitsFrom(told: MessageElement): { min?: number; max?: number; step?: number } {
  const limits: { min?: number; max?: number; step?: number } = {};
  for (const key of ["min", "max", "step"] as const) {
    const value = parseNumber(told.attributes.get(key) ?? "");
    if (!Number.isNaN(value)) limits[key] = value;
  }
  return limits;
}

function valueFrom(kind: PropertyKind, text: string): PropertyElement["value"] {
  if (kind === "number") return parseNumber(text);
  if (kind === "switch") return text === "On";
  return kind === "blob" ? "" : text;
}

function stateFrom(text: string | undefined): PropertyState | undefined {
  return oneOf(states, text) as PropertyState | undefined;
}

function oneOf(allowed: readonly string[], text: string | undefined): string | undefined {
  return text !== undefined && allowed.includes(text) ? text : undefined;
}
