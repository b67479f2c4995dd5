import type { PersonKind } from "../../agent/rehearsal/persons.ts";
import type { RoleName } from "../../drivers/roles/roles.ts";
import type { ProtocolChoice } from "../stage/rig-text.ts";
import type { FaultKind } from "./fault-kinds.ts";
import type { PlanName } from "./storm-plans.ts";

/**
 * What the run is doing when a fault comes: the moments that matter, and not seconds from its beginning.
 * `start`: it has begun. `coveredSlew`: the mount has started towards the Sun. `atSun`: it has arrived there, covered.
 * `uncovering`, `uncovered`, `closing`: the cover has begun to open, is open, has begun to close. `exposing`: an exposure
 * has begun with the cover open. `openSlew`: a slew has begun with the cover open. `diffuserIn`: the diffuser is in place.
 * `waiting`: a wait step has begun. `retreating`, `restoring`: the run has begun to do so. `afterFirst`: the storm's first
 * fault has begun.
 */
export const phases = [
  "start",
  "coveredSlew",
  "atSun",
  "uncovering",
  "uncovered",
  "exposing",
  "openSlew",
  "diffuserIn",
  "closing",
  "waiting",
  "retreating",
  "restoring",
  "afterFirst",
] as const;
export type Phase = (typeof phases)[number];

export interface StormFault {
  readonly kind: FaultKind;
  /** Draws what the kind leaves open. */
  readonly draw: number;
  /** So long after that phase has been seen for the nth time [s]. */
  readonly when: { readonly phase: Phase; readonly nth: number; readonly afterSeconds: number };
  /** Left out: it stays, or is over at once. */
  readonly forSeconds?: number;
}

/** A whole run and what befalls it, as plain data: from a seed, or shrunk from one. */
export interface Storm {
  readonly seed: number;
  readonly plan: PlanName;
  readonly rig: {
    readonly protocol: ProtocolChoice;
    readonly without: readonly RoleName[];
    readonly byHand: readonly ("cover" | "diffuser")[];
    readonly person?: PersonKind;
    readonly silenceSecondsMax: number;
  };
  /** How the rig is found. */
  readonly found: {
    readonly cover: "open" | "closed";
    readonly pointing: "parked" | "away" | "atSun";
    readonly diffuserIn: boolean;
    readonly domeOpen: boolean;
  };
  /** The Sun sinks below the plan's limit so long after the beginning; left out, it stands high [s]. */
  readonly sinksAfterSeconds?: number;
  readonly faults: readonly StormFault[];
  /** How long a killed agent is gone before a new process restores [s]. */
  readonly restartSeconds: number;
}
