export type PropertyKind = "text" | "number" | "switch" | "light" | "blob";
export type PropertyState = "Idle" | "Ok" | "Busy" | "Alert";
export type PropertyPerm = "ro" | "wo" | "rw";
export type SwitchRule = "OneOfMany" | "AtMostOne" | "AnyOfMany";

/** What an element holds: a number, a text (also the state of a light), or whether a switch is on. */
export type ElementValue = number | string | boolean;

export interface PropertyElement {
  readonly name: string;
  readonly label: string;
  /** Numbers may be NaN: the device said so, or said something that is no number. BLOB elements hold "". */
  readonly value: ElementValue;
  /** Numbers only. `min === max` means that the device states no limits; a step of 0 any step. */
  readonly min?: number;
  readonly max?: number;
  readonly step?: number;
  /** Numbers only: how the device wants them shown. Never needed to read them. */
  readonly format?: string;
}

/**
 * One property of a device as last told by it: a snapshot that never changes. A newer one replaces it in the store.
 */
export interface PropertyVector {
  readonly device: string;
  readonly name: string;
  readonly kind: PropertyKind;
  readonly state: PropertyState;
  /** A hint only. Lights are always "ro". */
  readonly perm: PropertyPerm;
  /** Switches only; "AnyOfMany" for other kinds. */
  readonly rule: SwitchRule;
  readonly label: string;
  readonly group: string;
  /** Worst-case seconds for a change by the device's own account; 0 = not given. No deadline: drivers send 60 for all. */
  readonly timeoutSeconds: number;
  readonly elements: ReadonlyMap<string, PropertyElement>;
  /** Place of the newest definition or update in the order in which everything arrived. Grows, with gaps. */
  readonly revision: number;
  /** The same for the newest definition. */
  readonly definedRevision: number;
  /** A command was sent that the device has not answered yet; the state is then "Busy" by the protocol's rule. */
  readonly awaitingAnswer: boolean;
  /** What the device said with the newest definition or update. */
  readonly message?: string;
}

/** @returns the number, NaN if the device gave none; `undefined` without such a number element */
export function numberIn(vector: PropertyVector | undefined, element: string): number | undefined {
  const value = vector?.elements.get(element)?.value;
  return typeof value === "number" ? value : undefined;
}

/** @returns the text or the light's state; `undefined` without such an element */
export function textIn(vector: PropertyVector | undefined, element: string): string | undefined {
  const value = vector?.elements.get(element)?.value;
  return typeof value === "string" ? value : undefined;
}

/** @returns whether the switch is on; `undefined` without such a switch */
export function switchIn(vector: PropertyVector | undefined, element: string): boolean | undefined {
  const value = vector?.elements.get(element)?.value;
  return typeof value === "boolean" ? value : undefined;
}

/** Names of all switches that are on, in the device's order. None on means "unknown" on many devices. */
export function switchesOn(vector: PropertyVector | undefined): string[] {
  return [...(vector?.elements.values() ?? [])].filter((e) => e.value === true).map((e) => e.name);
}

/**
 * Of a mount or dome; `undefined`: it does not know, or is on its way. Refusals leave the state Idle and the switch on.
 */
export function parkedOf(vector: PropertyVector | undefined): boolean | undefined {
  if (!vector || vector.state === "Busy" || vector.state === "Alert") return undefined;
  const [parked, unparked] = [switchIn(vector, "PARK"), switchIn(vector, "UNPARK")];
  return parked === unparked ? undefined : parked;
}

/** Limits of a number element as the device states them now; `undefined` if it states none. */
export function limitsOf(
  vector: PropertyVector | undefined,
  element: string,
): { min: number; max: number; step: number } | undefined {
  const found = vector?.elements.get(element);
  if (found?.min === undefined || found.max === undefined || !(found.max > found.min)) return undefined;
  return { min: found.min, max: found.max, step: found.step ?? 0 };
}

/**
 * Makes a test for `change`'s `arrived`: every value given reads back as given.
 * @param tolerance for numbers, absolute; default 1e-6 of the value (a driver may keep float32)
 */
export function readsBack(
  values: Readonly<Record<string, ElementValue>>,
  tolerance?: number,
): (vector: PropertyVector) => boolean {
  return (vector) =>
    Object.entries(values).every(([name, wanted]) => {
      const found = vector.elements.get(name)?.value;
      if (typeof wanted !== "number" || typeof found !== "number") return found === wanted;
      return Math.abs(found - wanted) <= (tolerance ?? 1e-9 + Math.abs(wanted) * 1e-6);
    });
}
