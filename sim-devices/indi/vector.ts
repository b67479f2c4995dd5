export type VectorState = "Idle" | "Ok" | "Busy" | "Alert";
export type SwitchRule = "OneOfMany" | "AtMostOne" | "AnyOfMany";
export type Permission = "ro" | "wo" | "rw";

interface Common {
  readonly name: string;
  readonly label: string;
  readonly group: string;
  state: VectorState;
  /** Brings the values up to date before they are sent. */
  refresh?: () => void;
}

export interface NumberElement {
  readonly name: string;
  readonly label: string;
  readonly format: string;
  readonly min: number;
  readonly max: number;
  readonly step: number;
  value: number;
}
export interface NamedElement<V> {
  readonly name: string;
  readonly label: string;
  value: V;
}

export interface NumberVector extends Common {
  readonly kind: "Number";
  readonly perm: Permission;
  readonly timeout: number;
  readonly elements: readonly NumberElement[];
}
export interface TextVector extends Common {
  readonly kind: "Text";
  readonly perm: Permission;
  readonly timeout: number;
  readonly elements: readonly NamedElement<string>[];
}
export interface SwitchVector extends Common {
  readonly kind: "Switch";
  readonly perm: Permission;
  readonly rule: SwitchRule;
  readonly timeout: number;
  readonly elements: readonly NamedElement<boolean>[];
}
export interface LightVector extends Common {
  readonly kind: "Light";
  readonly elements: readonly NamedElement<VectorState>[];
}
export interface BlobVector extends Common {
  readonly kind: "BLOB";
  readonly perm: Permission;
  readonly timeout: number;
  readonly elements: readonly { readonly name: string; readonly label: string }[];
}

export type Vector = NumberVector | TextVector | SwitchVector | LightVector | BlobVector;

export interface VectorHead {
  readonly name: string;
  readonly label: string;
  readonly group: string;
  readonly perm?: Permission;
  readonly state?: VectorState;
  readonly timeout?: number;
  readonly refresh?: () => void;
}

function head(h: VectorHead) {
  const { name, label, group, perm = "rw", state = "Idle", timeout = 60, refresh } = h;
  return { name, label, group, perm, state, timeout, ...(refresh ? { refresh } : {}) };
}

/** Elements as [name, label, value, min, max, step, format]; the last three may be left out. */
export function numberVector(
  h: VectorHead,
  elements: readonly (readonly [string, string, number, number, number, number?, string?])[],
): NumberVector {
  return {
    ...head(h),
    kind: "Number",
    elements: elements.map(([name, label, value, min, max, step = 0, format = "%g"]) => ({
      name,
      label,
      value,
      min,
      max,
      step,
      format,
    })),
  };
}

export function textVector(
  h: VectorHead,
  elements: readonly (readonly [string, string, string])[],
): TextVector {
  return {
    ...head(h),
    kind: "Text",
    elements: elements.map(([name, label, value]) => ({ name, label, value })),
  };
}

export function switchVector(
  h: VectorHead & { readonly rule?: SwitchRule },
  elements: readonly (readonly [string, string, boolean?])[],
): SwitchVector {
  return {
    ...head(h),
    kind: "Switch",
    rule: h.rule ?? "OneOfMany",
    elements: elements.map(([name, label, value = false]) => ({ name, label, value })),
  };
}

export function lightVector(h: VectorHead, elements: readonly (readonly [string, string])[]): LightVector {
  return {
    ...head(h),
    kind: "Light",
    elements: elements.map(([name, label]) => ({ name, label, value: "Idle" as VectorState })),
  };
}

export function blobVector(h: VectorHead, elements: readonly (readonly [string, string])[]): BlobVector {
  return { ...head(h), kind: "BLOB", elements: elements.map(([name, label]) => ({ name, label })) };
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
