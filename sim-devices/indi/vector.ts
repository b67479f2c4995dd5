export type VectorState = "Idle" | "Ok" | "Busy" | "Alert";
type SwitchRule = "OneOfMany" | "AtMostOne" | "AnyOfMany";
type Permission = "ro" | "wo" | "rw";

export interface VectorElement<V> {
  readonly name: string;
  readonly label: string;
  value: V;
}
interface NumberElement extends VectorElement<number> {
  readonly format: string;
  readonly min: number;
  readonly max: number;
  readonly step: number;
}

interface VectorOf<Kind, Element> {
  readonly kind: Kind;
  readonly name: string;
  readonly label: string;
  readonly group: string;
  readonly perm: Permission;
  readonly timeout: number;
  readonly elements: readonly Element[];
  state: VectorState;
  /** Brings the values up to date before they are sent. */
  refresh?: () => void;
}

export type NumberVector = VectorOf<"Number", NumberElement>;
export type TextVector = VectorOf<"Text", VectorElement<string>>;
export type SwitchVector = VectorOf<"Switch", VectorElement<boolean>> & { readonly rule: SwitchRule };
export type LightVector = VectorOf<"Light", VectorElement<VectorState>>;
/** Its elements have no value that is kept. */
export type BlobVector = VectorOf<"BLOB", VectorElement<"">>;
export type Vector = NumberVector | TextVector | SwitchVector | LightVector | BlobVector;

export interface VectorHead {
  readonly name: string;
  readonly label: string;
  readonly group: string;
  readonly perm?: Permission;
  readonly state?: VectorState;
  readonly timeout?: number;
}

function vectorOf<Kind, Element>(
  kind: Kind,
  head: VectorHead,
  elements: readonly Element[],
): VectorOf<Kind, Element> {
  return { perm: "rw", state: "Idle", timeout: 60, ...head, kind, elements };
}

/** Elements as [name, label, value, min, max, step, format]; the last two may be left out. */
export function numberVector(
  head: VectorHead,
  elements: readonly (readonly [string, string, number, number, number, number?, string?])[],
): NumberVector {
  const numbers = elements.map(([name, label, value, min, max, step = 0, format = "%g"]) => {
    return { name, label, value, min, max, step, format };
  });
  return vectorOf("Number", head, numbers);
}

export function textVector(
  head: VectorHead,
  elements: readonly (readonly [string, string, string])[],
): TextVector {
  const texts = elements.map(([name, label, value]) => ({ name, label, value }));
  return vectorOf("Text", head, texts);
}

export function switchVector(
  head: VectorHead & { readonly rule?: SwitchRule },
  elements: readonly (readonly [string, string, boolean?])[],
): SwitchVector {
  const switches = elements.map(([name, label, value = false]) => ({ name, label, value }));
  return { rule: "OneOfMany", ...vectorOf("Switch", head, switches) };
}

export function lightVector(head: VectorHead, elements: readonly (readonly [string, string])[]): LightVector {
  const lights = elements.map(([name, label]) => ({ name, label, value: "Idle" as VectorState }));
  return vectorOf("Light", head, lights);
}

export function blobVector(head: VectorHead, elements: readonly (readonly [string, string])[]): BlobVector {
  const blobs = elements.map(([name, label]) => ({ name, label, value: "" as const }));
  return vectorOf("BLOB", head, blobs);
}

/** The value of a number element; the vector is ours, so a wrong name is a bug. */
export function numberOf(vector: NumberVector, element: string): number {
  const found = vector.elements.find((e) => e.name === element);
  if (!found) throw new Error(`${vector.name} has no element ${element}`);
  return found.value;
}

/** The name of the switch that is on, if any. */
export function selectedSwitch(vector: SwitchVector): string | undefined {
  return vector.elements.find((e) => e.value)?.name;
}

/** Turns one switch on and the others off; `undefined` turns all off. */
export function selectSwitch(vector: SwitchVector, element: string | undefined): void {
  for (const e of vector.elements) e.value = e.name === element;
}

export function putNumbers(vector: NumberVector, values: readonly number[]): void {
  vector.elements.forEach((element, i) => {
    element.value = values[i] ?? element.value;
  });
}

/** Gives new values to the elements that are named. */
export function putNamed<V>(
  vector: { readonly elements: readonly VectorElement<V>[] },
  values: ReadonlyMap<string, V>,
): void {
  for (const element of vector.elements) element.value = values.get(element.name) ?? element.value;
}
