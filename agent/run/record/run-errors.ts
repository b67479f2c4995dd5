import type { SettingRecord } from "./run-record.ts";

/** Why a run did not begin; nothing was changed by it. */
export class RunRefusedError extends Error {
  constructor(
    readonly kind: "safety" | "input",
    message: string,
    readonly whatToDo: string,
    readonly code = kind === "safety" ? "REFUSED_FOR_SAFETY" : "PLAN_DOES_NOT_FIT_RIG",
  ) {
    super(message);
    this.name = "RunRefusedError";
  }
}

/** The reason of work that was cut short by a stop or a lost sky: no failure of its own. */
export class InterruptedError extends Error {
  constructor(message: string) {
    super(message);
    this.name = "InterruptedError";
  }
}

/** A step that was asked to stop and did not settle. */
export class StepAbandonedError extends Error {
  readonly code = "STEP_ABANDONED";
  readonly whatToDo = "Look at the last lines of `events.ndjson` for the device that did not answer.";
  constructor(step: string) {
    super(`the step ${step} did not stop in time and was given up; the rig was made safe without it`);
    this.name = "StepAbandonedError";
  }
}

/** The rig is still not as an earlier run found it. */
export class NotRecoveredError extends Error {
  readonly code = "RIG_NOT_RESTORED";
  readonly whatToDo =
    "Put right by hand what is named, then run `evenfield restore --rig RIG`; " +
    "with `--accept` it takes the rig as it is now for good.";
  constructor(
    readonly runId: string,
    readonly left: readonly SettingRecord[],
  ) {
    super(`an earlier run (${runId}) could not be put back: ${left.map(describeLeft).join("; ")}`);
    this.name = "NotRecoveredError";
  }
}

/** How an earlier run found the rig is not known any more, and so not whether the rig is as it was. */
export class BaselineLostError extends Error {
  readonly code = "RIG_NOT_RESTORED";
  readonly whatToDo =
    "Close the cover and look at the rig by hand, then take it as it is with `evenfield restore --rig RIG --accept`.";
  constructor(
    readonly runId: string,
    folder: string,
  ) {
    super(
      `an earlier run (${runId}) could not be put back: how it found the rig is damaged in the ledger and in ${folder}`,
    );
    this.name = "BaselineLostError";
  }
}

/** One setting that is not as it was, as a person reads it. */
export function describeLeft({ device, key, before, after, unit, why }: SettingRecord): string {
  const of = unit === undefined ? "" : ` ${unit}`;
  const now = after === undefined ? "could not be read" : `is ${JSON.stringify(after)}${of}`;
  return `${device}: ${key} was ${JSON.stringify(before)}${of} and ${now}${why === undefined ? "" : ` (${why})`}`;
}
