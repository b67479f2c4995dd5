import { ReadbackError } from "../../../drivers/kit/errors.ts";
import { resolveEach } from "../../../drivers/kit/resolve-all.ts";
import { devicesOf, type Rig } from "../../../drivers/roles/rig.ts";
import type { BaselineEntry } from "../record/run-record.ts";
import { isStorable } from "./baseline-entries.ts";
import {
  type BaselineState,
  readBaselineFile,
  type SavedBaseline,
  writeBaselineFile,
} from "./baseline-file.ts";
import type { Ledger } from "./ledger.ts";
import { isInMemory } from "./ledger-tables.ts";

/** Reads every setting of every device, camera first. Changes nothing. @throws DeviceError */
export async function readBaseline(rig: Rig, signal: AbortSignal): Promise<readonly BaselineEntry[]> {
  const devices = devicesOf(rig);
  const readings = await resolveEach(devices.map((device) => device.readSettings(signal)));
  return devices.flatMap((device, i) =>
    readings[i]!.map((setting): BaselineEntry => {
      if (!isStorable(setting.value))
        throw new ReadbackError(device.name, setting.key, "a value", setting.value);
      return { role: device.role, device: device.name, setting };
    }),
  );
}

/** A run as its records name it. */
export type BegunRun = Omit<SavedBaseline, "state" | "entries"> & { readonly folder: string };

/**
 * Writes how the rig was found into the run's folder and into the ledger. When this returns it is on the disk, and only
 * from here on may a run change what is in it. @throws LedgerError, or what the file system says
 */
export function saveBaseline(ledger: Ledger, run: BegunRun, entries: readonly BaselineEntry[]): void {
  if (!isInMemory(ledger.file)) writeBaselineFile(run.folder, { ...run, state: "changing", entries });
  ledger.saveBaseline(run.runId, entries);
}

/**
 * Nothing is left to restore from a run. As hope: where either record takes it the run counts as closed.
 * @returns what could not be written, for a person
 */
export function closeRun(
  ledger: Ledger | undefined,
  { runId, folder }: { readonly runId: string; readonly folder: string },
  state: Exclude<BaselineState, "changing">,
): readonly string[] {
  const failed: string[] = [];
  const attempt = (write: () => void) => {
    try {
      write();
    } catch (error) {
      failed.push(error instanceof Error ? error.message : String(error));
    }
  };
  attempt(() => {
    if (ledger && isInMemory(ledger.file)) return;
    const saved = readBaselineFile(folder);
    if (saved !== undefined && saved !== "damaged" && saved.runId === runId)
      writeBaselineFile(folder, { ...saved, state });
  });
  attempt(() => {
    if (ledger?.hasRun(runId)) ledger.closeRun(runId);
  });
  return failed;
}
