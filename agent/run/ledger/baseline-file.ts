import { readFileSync } from "node:fs";
import { join } from "node:path";
import * as z from "zod";
import { writeWholeFile } from "../../../drivers/formats/whole-file.ts";
import { parseJson } from "../../../drivers/kit/parse-json.ts";
import type { BaselineEntry } from "../record/run-record.ts";
import { baselineDigest, digestOf, parseEntries } from "./baseline-entries.ts";

/** In the run's folder: how the rig was found, for a person to read and for a restoring that has no ledger. */
export const baselineFileName = "baseline.json";

/** `changing`: the rig may differ from it. */
export type BaselineState = "changing" | "put back" | "accepted as it is";

export interface SavedBaseline {
  readonly rig: string;
  readonly runId: string;
  readonly plan: string;
  readonly startedUtcMs: number;
  readonly state: BaselineState;
  readonly entries: readonly BaselineEntry[];
}

const file = z.object({
  rig: z.string(),
  runId: z.string(),
  plan: z.string(),
  startedUtc: z.iso.datetime(),
  state: z.enum(["changing", "put back", "accepted as it is"]),
  devices: z.array(
    z.object({ role: z.string(), device: z.string(), settings: z.array(z.record(z.string(), z.unknown())) }),
  ),
  sha256: z.string(),
});

/** Whole or not at all, synced; takes the place of one that is there. @throws what the file system says */
export function writeBaselineFile(folder: string, baseline: SavedBaseline): void {
  const { rig, runId, plan, startedUtcMs, state, entries } = baseline;
  const text = JSON.stringify(
    {
      about:
        "How the rig was found. `evenfield restore --rig RIG --from FOLDER`, with this file's folder, puts it back; " +
        "nothing else is needed for it.",
      rig,
      runId,
      plan,
      startedUtc: new Date(startedUtcMs).toISOString(),
      state,
      settingCount: entries.length,
      devices: byDevice(entries),
      sha256: digest(baseline),
    },
    null,
    2,
  );
  const path = join(folder, baselineFileName);
  writeWholeFile(path, new TextEncoder().encode(`${text}\n`), { replace: true });
}

/** @returns `undefined` when there is none; `damaged` when it is not as it was written. @throws nothing */
export function readBaselineFile(folder: string): SavedBaseline | "damaged" | undefined {
  let text: string;
  try {
    text = readFileSync(join(folder, baselineFileName), "utf8");
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    return code === "ENOENT" || code === "ENOTDIR" ? undefined : "damaged";
  }
  const read = file.safeParse(parseJson(text));
  if (!read.success) return "damaged";
  const { devices, startedUtc, sha256, ...rest } = read.data;
  const entries = parseEntries(
    devices.flatMap(({ role, device, settings }) => settings.map((setting) => ({ role, device, setting }))),
  );
  if (!entries) return "damaged";
  const baseline = { ...rest, startedUtcMs: Date.parse(startedUtc), entries };
  return sha256 === digest(baseline) ? baseline : "damaged";
}

function digest({ rig, runId, plan, startedUtcMs, state, entries }: SavedBaseline): string {
  return digestOf([rig, runId, plan, startedUtcMs, state, baselineDigest(entries)]);
}

/** One after the other as they were read, those of a device together. */
function byDevice(entries: readonly BaselineEntry[]) {
  const devices: { role: string; device: string; settings: BaselineEntry["setting"][] }[] = [];
  for (const { role, device, setting } of entries) {
    const last = devices.at(-1);
    if (last?.role === role && last.device === device) last.settings.push(setting);
    else devices.push({ role, device, settings: [setting] });
  }
  return devices;
}
