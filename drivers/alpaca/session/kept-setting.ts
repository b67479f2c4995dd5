import type { z } from "zod";
import { ReadbackError } from "../../kit/errors.ts";
import type { SettingValue } from "../../roles/device.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { AlpacaDevice } from "./device.ts";

/** A property that is read and written under one name. */
export interface Property<T extends number | boolean> {
  readonly member: string;
  /** The member in the interface's casing. */
  readonly parameter: string;
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
  const { member, parameter, schema, tolerance = 0 } = property;
  if (isSame(await device.get(member, schema, signal), value, tolerance)) return;
  await device.put(member, { [parameter]: value }, signal);
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
    ...(unit === undefined ? {} : { unit }),
    read: (signal) => device.optional(property.member, property.schema, signal),
    restore: (value, signal) => ensureProperty(device, property, value as T, signal),
    same: (before, now) => isSame(before, now, property.tolerance ?? 0),
  };
}

function isSame(a: SettingValue, b: SettingValue, tolerance: number): boolean {
  return typeof a === "number" && typeof b === "number" ? Math.abs(a - b) <= tolerance : a === b;
}
