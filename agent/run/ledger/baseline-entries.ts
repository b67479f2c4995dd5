import { createHash } from "node:crypto";
import * as z from "zod";
import type { SettingValue } from "../../../drivers/roles/device.ts";
import { type RoleName, roleNames } from "../../../drivers/roles/roles.ts";
import type { BaselineEntry } from "../record/run-record.ts";

const settingValue: z.ZodType<SettingValue> = z.union([
  z.number(),
  z.string(),
  z.boolean(),
  z.array(z.number()),
]);

const baselineEntry = z.object({
  role: z.enum(roleNames as [RoleName, ...RoleName[]]),
  device: z.string().min(1),
  setting: z
    .object({ key: z.string().min(1), value: settingValue, unit: z.string().optional() })
    .transform(({ unit, ...setting }) => (unit === undefined ? setting : { ...setting, unit })),
});

/** @returns the entries, when they are whole, `undefined` when any is not */
export function parseEntries(data: unknown): readonly BaselineEntry[] | undefined {
  const entries = z.array(baselineEntry).min(1).safeParse(data);
  return entries.success ? entries.data : undefined;
}

/** Whether a value lives through JSON unchanged; what is not a number would come back as nothing. */
export function isStorable(value: SettingValue): boolean {
  return settingValue.safeParse(value).success;
}

/** Equal for equal entries in the same order, and for no others. */
export function baselineDigest(entries: readonly BaselineEntry[]): string {
  return digestOf(
    entries.map(({ role, device, setting: { key, value, unit } }) => [
      role,
      device,
      key,
      value,
      unit ?? null,
    ]),
  );
}

/** Of plain data, by its JSON. */
export function digestOf(data: unknown): string {
  return createHash("sha256").update(JSON.stringify(data)).digest("hex");
}
