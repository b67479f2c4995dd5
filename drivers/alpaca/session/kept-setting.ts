import type { z } from "zod";
import { ReadbackError } from "../../kit/errors.ts";
import { given } from "../../kit/given.ts";
import type { SettingValue } from "../../roles/device.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { AlpacaDevice } from "./device.ts";

/** A property that is read and written under one name. */
export interface Property<T extends number | boolean> {
  /** The member in the interface's casing, as a parameter is written. */
  readonly name: string;
  readonly schema: z.ZodType<T>;
  /** How far a number may read back from what was written. Default 0. */
  readonly tolerance?: number;
}

/** Writes unless it reads so already, and proves it. @throws ReadbackError */
export async function ensureProperty<T extends number | boolean>(
  device: AlpacaDevice,
  property: Property<T>,
  value: T,
  signal: AbortSignal,
): Promise<void> {
  const { name, schema, tolerance = 0 } = property;
  const member = name.toLowerCase();
  if (isSame(await device.get(member, schema, signal), value, tolerance)) return;
  await device.put(member, { [name]: value }, signal);
  const found = await device.get(member, schema, signal);
  if (!isSame(found, value, tolerance)) throw new ReadbackError(device.name, member, value, found);
}

/** Kept where the device offers it. */
export function propertySetting<T extends number | boolean>(
  device: AlpacaDevice,
  key: string,
  property: Property<T>,
  unit?: string,
): KeptSetting {
  return {
    key,
    ...given({ unit }),
    read: (signal) => device.optional(property.name.toLowerCase(), property.schema, signal),
    restore: (value, signal) => ensureProperty(device, property, value as T, signal),
    same: (before, now) => isSame(before, now, property.tolerance ?? 0),
  };
}

function isSame(a: SettingValue, b: SettingValue, tolerance: number): boolean {
  return typeof a === "number" && typeof b === "number" ? Math.abs(a - b) <= tolerance : a === b;
}
