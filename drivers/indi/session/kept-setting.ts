import { ReadbackError } from "../../kit/errors.ts";
import { given } from "../../kit/given.ts";
import type { SettingValue } from "../../roles/device.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import { numberIn, readsBack, switchesOn } from "../wire/property.ts";
import type { CommandValues } from "./command.ts";
import type { IndiDevice } from "./device.ts";

/** Time for a change that moves nothing [s]. */
export const quickChangeSeconds = 15;

/** Sends unless it reads so already, and proves the values; drivers end such changes Ok or Idle. */
export async function ensureValues(
  device: IndiDevice,
  property: string,
  values: CommandValues,
  signal: AbortSignal,
  tolerance?: number,
): Promise<void> {
  const wanted = readsBack(values, tolerance);
  const present = await device.refresh(property, {}, signal);
  if (wanted(present) && present.state !== "Busy") return;
  await changeValues(device, property, values, signal, wanted);
}

/** Sends and proves the values, whatever is in force. */
export async function changeValues(
  device: IndiDevice,
  property: string,
  values: CommandValues,
  signal: AbortSignal,
  arrived = readsBack(values),
): Promise<void> {
  const options = { withinSeconds: quickChangeSeconds, arrived, finalStates: ["Ok", "Idle"] } as const;
  await device.change(property, values, options, signal);
}

/** The switches of a vector that are on, as their names with commas between; `""` when none is. */
export function switchSetting(device: IndiDevice, key: string, property: string): KeptSetting {
  const read = async (signal: AbortSignal) =>
    device.property(property) ? switchesOn(await device.refresh(property, {}, signal)).join(",") : undefined;
  return {
    key,
    read,
    async restore(value, signal) {
      const on = String(value).split(",");
      const vector = device.property(property);
      if (value === "" && vector?.rule === "OneOfMany") {
        const now = switchesOn(vector).join(",");
        // None on is how it was found, but the last of one-of-many cannot be commanded off.
        if (now !== "") throw new ReadbackError(device.name, key, "none on", now);
        return;
      }
      const all = [...(vector?.elements.keys() ?? [])];
      await ensureValues(
        device,
        property,
        Object.fromEntries(all.map((name) => [name, on.includes(name)])),
        signal,
      );
    },
  };
}

/** One or several numbers of a vector; several become an array in the order of the names. */
export function numberSetting(
  device: IndiDevice,
  key: string,
  where: { property: string; elements: readonly string[]; tolerance: number; unit?: string },
): KeptSetting {
  const { property, elements, tolerance, unit } = where;
  const toArray = (value: SettingValue): readonly number[] =>
    Array.isArray(value) ? (value as readonly number[]) : [Number(value)];
  return {
    key,
    ...given({ unit }),
    async read(signal) {
      if (!device.property(property)) return undefined;
      const vector = await device.refresh(property, {}, signal);
      const values = elements.map((element) => numberIn(vector, element));
      if (values.some((value) => value === undefined || !Number.isFinite(value))) return undefined;
      return values.length === 1 ? values[0] : (values as number[]);
    },
    async restore(value, signal) {
      const numbers = toArray(value);
      if (numbers.length !== elements.length)
        throw new ReadbackError(device.name, key, value, "another kind of value");
      const pairs = elements.map((element, i) => [element, numbers[i]!] as const);
      await ensureValues(device, property, Object.fromEntries(pairs), signal, tolerance);
    },
    same: (before, now) => {
      const [a, b] = [toArray(before), toArray(now)];
      return a.length === b.length && a.every((one, i) => Math.abs(one - b[i]!) <= tolerance);
    },
  };
}
