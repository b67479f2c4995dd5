import { MissingAbilityError, OutOfLimitsError } from "../../kit/errors.ts";
import { isWritable, newVectorText } from "../wire/message-writer.ts";
import { type ElementValue, limitsOf, type PropertyElement, type PropertyVector } from "../wire/property.ts";

export type CommandValues = Readonly<Record<string, ElementValue>>;

/**
 * The text of one command with all elements of the vector: drivers take partial ones as errors, or say nothing.
 * What is not given keeps its present value; of switches of which one may be on, it goes off.
 * Everything is checked here because drivers answer wrong values with an Ok, with silence, or with the value itself.
 * @throws MissingAbilityError, OutOfLimitsError
 */
export function commandText(vector: PropertyVector, values: CommandValues): string {
  const { device, name, kind } = vector;
  if (vector.perm === "ro" || !isWritable(kind))
    throw new MissingAbilityError(device, `${name} can't be set`);
  const known = [...vector.elements.keys()].join(", ");
  for (const element of Object.keys(values)) {
    if (vector.elements.has(element)) continue;
    throw new MissingAbilityError(device, `${name} has no element ${element}, only ${known}`);
  }
  const all = new Map<string, ElementValue>();
  for (const element of vector.elements.values()) {
    all.set(element.name, checkedValue(vector, element, values[element.name]));
  }
  if (kind === "switch") checkRule(vector, all);
  return newVectorText(kind, device, name, all);
}

function checkedValue(
  vector: PropertyVector,
  element: PropertyElement,
  given: ElementValue | undefined,
): ElementValue {
  const setting = `${vector.name}.${element.name}`;
  if (vector.kind === "switch") {
    const kept = vector.rule === "AnyOfMany" ? element.value : false;
    const value = given ?? kept;
    if (typeof value !== "boolean")
      throw new OutOfLimitsError(vector.device, setting, value, "true or false");
    return value;
  }
  const value = given ?? element.value;
  if (vector.kind === "text") {
    if (typeof value !== "string") throw new OutOfLimitsError(vector.device, setting, String(value), "texts");
    return value;
  }
  if (typeof value !== "number" || !Number.isFinite(value)) {
    const allowed =
      given === undefined ? "finite numbers; the device has none at present, so give one" : "finite numbers";
    throw new OutOfLimitsError(vector.device, setting, String(value), allowed);
  }
  const limits = limitsOf(vector, element.name);
  if (given !== undefined && limits && (value < limits.min || value > limits.max)) {
    throw new OutOfLimitsError(vector.device, setting, value, `${limits.min} to ${limits.max}`);
  }
  return value;
}

function checkRule(vector: PropertyVector, all: ReadonlyMap<string, ElementValue>): void {
  const on = [...all].filter(([, value]) => value === true).map(([element]) => element);
  if (vector.rule === "AnyOfMany" || on.length === 1 || (on.length === 0 && vector.rule === "AtMostOne"))
    return;
  const allowed = vector.rule === "OneOfMany" ? "exactly one of the switches" : "one of the switches at most";
  throw new OutOfLimitsError(vector.device, vector.name, on.join(" + ") || "none on", allowed);
}
