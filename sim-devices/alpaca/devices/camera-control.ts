import { checkedNumber, invalidValue } from "../ascom-error.ts";
import type { MemberTable } from "../member-table.ts";

/** Gain or offset on the wire: the value itself, or its place in a list of names. */
export interface ControlScale {
  /** `undefined`: by value. */
  readonly names: readonly string[] | undefined;
  readonly min: number;
  readonly max: number;
  toWire(setting: number): number;
  /** @throws AscomError 0x401 */
  fromWire(value: number): number;
}

export function scaleByValue(what: string, max: number): ControlScale {
  return {
    names: undefined,
    min: 0,
    max,
    toWire: (setting) => setting,
    fromWire: (value) => checkedNumber(what, value, 0, max),
  };
}

/** In about ten steps, of which one is the setting as the camera starts. */
export function scaleByIndex(what: string, max: number, start: number): ControlScale {
  const steps = Array.from({ length: 11 }, (_, i) => Math.round((max * i) / 10));
  const settings = [...new Set([...steps, start])].sort((a, b) => a - b);
  return {
    names: settings.map((setting) => `${what} ${setting}`),
    min: 0,
    max: settings.length - 1,
    toWire: (setting) => {
      const distance = (i: number) => Math.abs(settings[i]! - setting);
      return settings.reduce((best, _, i) => (distance(i) < distance(best) ? i : best), 0);
    },
    fromWire: (value) => {
      const setting = settings[value];
      if (setting !== undefined) return setting;
      throw invalidValue(`${what} ${value} is no place in a list of ${settings.length}`);
    },
  };
}

/** By value there is a range and no list, by index a list and no range: never both. */
export function addControl(
  members: MemberTable,
  settings: { gain: number; offset: number },
  name: "gain" | "offset",
  scale: ControlScale,
): void {
  const parameter = name === "gain" ? "Gain" : "Offset";
  const write = (value: number) => {
    settings[name] = scale.fromWire(value);
  };
  members.setting(parameter, "int", { read: () => scale.toWire(settings[name]), write });
  if (scale.names === undefined) {
    members.reads(`${name}min`, () => scale.min);
    members.reads(`${name}max`, () => scale.max);
    members.lacks(`${name}s`);
  } else {
    members.lacks(`${name}min`, `${name}max`);
    members.reads(`${name}s`, () => scale.names);
  }
}
