import { devicesOf, type Rig } from "../../../drivers/roles/rig.ts";
import type { BaselineEntry } from "../record/run-record.ts";
import type { Ledger } from "./ledger.ts";

/** Reads every setting of every device, camera first. Changes nothing. */
export async function readBaseline(rig: Rig, signal: AbortSignal): Promise<readonly BaselineEntry[]> {
  const entries: BaselineEntry[] = [];
  for (const device of devicesOf(rig)) {
    for (const setting of await device.readSettings(signal)) {
      entries.push({ role: device.role, device: device.name, setting });
    }
  }
  return entries;
}

/**
 * Reads the rig and writes it to the ledger. When this returns the baseline is on the disk,
 * and only from here on may a run change anything.
 */
export async function takeBaseline(
  rig: Rig,
  ledger: Ledger,
  runId: string,
  signal: AbortSignal,
): Promise<readonly BaselineEntry[]> {
  const entries = await readBaseline(rig, signal);
  signal.throwIfAborted();
  ledger.saveBaseline(runId, entries);
  return entries;
}
