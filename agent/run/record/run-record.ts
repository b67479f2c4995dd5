import type { Setting, SettingValue } from "../../../drivers/roles/device.ts";
import type { RoleName } from "../../../drivers/roles/roles.ts";
import type { Plan } from "../../../plans/plan-file.ts";
import type { StepKind } from "../../../plans/plan-steps.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { StepFindings } from "../../procedures/findings.ts";
import type { UnsafeKind } from "../../procedures/step-error.ts";
import type { Safety } from "../../safing/make-safe.ts";
import type { ExitCode } from "./exit-codes.ts";

/** `refused`: the run ended before anything was changed. */
export type RunEnded = "completed" | "stopped" | "failed" | "unsafe" | "refused";
export type RunVerdict = "good" | "usable" | "bad" | "none";

/** What went wrong, as plain data: told in the run record, the report and on the terminal. */
export interface FailureRecord {
  /** A device error's code, `FAULT` for a fault of ours, or the procedure's own code. */
  readonly code: string;
  readonly message: string;
  readonly whatToDo: string;
  readonly device?: string;
  /** What the message tells, for a program to read. */
  readonly figures?: Readonly<Record<string, unknown>>;
  readonly stack?: string;
}

export interface StepRecord {
  /** Counted over the steps as they were carried out. */
  readonly stepIndex: number;
  /** Why it was put in, for one that the plan does not list there. */
  readonly because?: string;
  readonly kind: StepKind;
  readonly options: Readonly<Record<string, unknown>>;
  readonly startedUtcMs: number;
  readonly endedUtcMs: number;
  readonly ended: "completed" | "stopped" | "failed" | "unsafe";
  /** What the procedure found, as it gave it. */
  readonly found?: unknown;
  readonly failure?: FailureRecord;
}

export interface DeviceRecord {
  readonly role: RoleName;
  readonly name: string;
  readonly abilities: Readonly<Record<string, string>>;
}

/**
 * One setting before the run and as read back after it.
 * `keptSafe`: left otherwise on purpose, because putting it back was not safe (a cover or a shutter that was found open).
 */
export interface SettingRecord {
  readonly role: RoleName;
  readonly device: string;
  readonly key: string;
  readonly unit?: string;
  readonly before: SettingValue;
  /** `undefined`: could not be read. */
  readonly after?: SettingValue;
  readonly state: "same" | "different" | "keptSafe";
  /** Why it is not as it was. */
  readonly why?: string;
}

/** A time in which a condition of the guard was not true, or nothing was known of it; one object from its beginning to its end. */
export interface LapseRecord {
  readonly watch: string;
  readonly reason: string;
  /** When it was last seen to be true. */
  readonly fromUtcMs: number;
  /** When it was seen so again; left out: not yet, or not in this run. */
  toUtcMs?: number;
}

/** Why a rig had to retreat from the Sun. It belongs to the rig and outlives the run. */
export interface RetreatRecord {
  readonly rig: string;
  readonly runId: string;
  readonly utcMs: number;
  readonly kind: UnsafeKind;
  readonly reason: string;
  /** What the rig file said of the Sun filter then: that is no confirmation afterwards. */
  readonly lastConfirmed: string;
}

export interface TimelineEntry {
  readonly utcMs: number;
  readonly event: string;
  readonly fields?: Readonly<Record<string, unknown>>;
}

/** Each device's state as read back at the end; `unknown` where it did not answer. */
export type LeftOnRig = Readonly<Partial<Record<RoleName, string>>>;

/** Everything about a run, as plain data; `run.json` is this, and a report can be drawn from it alone. */
export interface RunRecord {
  readonly runId: string;
  readonly plan: Plan;
  readonly rig: RigFile;
  readonly trainMark: string | undefined;
  readonly unattended: boolean;
  readonly startedUtcMs: number;
  readonly endedUtcMs: number;
  readonly devices: readonly DeviceRecord[];
  readonly steps: readonly StepRecord[];
  readonly settings: readonly SettingRecord[];
  /** Conditions of the guard that were not true for a while, most of them for less than the grace that they have. */
  readonly lapses: readonly LapseRecord[];
  /** Why it stopped being safe to look, each time it was noticed. */
  readonly guardEvents: readonly { readonly utcMs: number; readonly reasons: readonly string[] }[];
  readonly timeline: readonly TimelineEntry[];
  /** As at the end of the run; `unhealthyPx` is left out here (a map of megabytes). */
  readonly findings: Omit<StepFindings, "unhealthyPx"> & { readonly unhealthyPxCount?: number };
  /** Below the run's folder. */
  readonly files: readonly string[];
  readonly ended: RunEnded;
  readonly verdict: RunVerdict;
  readonly exitCode: ExitCode;
  readonly leftOnRig: LeftOnRig;
  /** How the rig stood when it was made safe last, before it was put back. */
  readonly safety?: Safety;
  readonly failure?: FailureRecord;
}

/** How a run ended, good or bad, always in this shape. */
export interface RunReport
  extends Pick<RunRecord, "ended" | "verdict" | "exitCode" | "leftOnRig" | "failure"> {
  /** Settings that are not as they were found, kept back for safety or not restorable. */
  readonly notAsFound: readonly SettingRecord[];
  readonly folder: string;
  /** What of the run could not be put on the disk, for a person. The rig is none the worse for it. */
  readonly unwritten: readonly string[];
  readonly record: RunRecord;
}

/** One row of a baseline, as the ledger keeps it. */
export interface BaselineEntry {
  readonly role: RoleName;
  readonly device: string;
  readonly setting: Setting;
}
