import type { RigFile } from "../../plans/rig-file.ts";
import { confirmAfterTrip, filterProblem, tripProblem } from "../run/guard/sun-filter.ts";
import { findUnconfirmedTrip } from "../run/ledger/retreats.ts";
import { findUnfinishedRuns, type RunRecords } from "../run/ledger/unfinished-runs.ts";
import { formatUtcMinute } from "../run/record/utc-minute.ts";
import { cautionText } from "../safing/caution.ts";
import type { PersonDeed } from "./deeds/person-deeds.ts";
import type { RestRow } from "./rest/look-at-rig.ts";

/** What only a person can end. */
export interface Hold {
  readonly because: string;
  readonly whatToDo: string;
}

export interface HoldFacts {
  readonly records: RunRecords;
  readonly rigFile: RigFile;
  /** Whether it was tried often enough to put back what that run left. */
  isGivenUp(runId: string): boolean;
  readonly nowUtcMs: number;
}

/** Of what was seen between runs: it ends by itself when it is seen to be over. */
export function holdAtRest(rows: readonly RestRow[]): Hold | undefined {
  const row = rows.find(({ holds }) => holds);
  if (!row) return undefined;
  const because = `between runs, ${row.what}: ${row.text}`;
  if (row.what === "clock")
    return {
      because,
      whatToDo: "Set the computer's clock; it goes on by itself once the clock is past that time.",
    };
  const whatToDo = `See who works with the telescope, and close the cover; it goes on by itself once that reads closed. ${cautionText}`;
  return { because, whatToDo };
}

/** A person wants that nothing begins. */
export function holdByPerson({ who, deed, utcMs }: PersonDeed): Hold {
  const did = deed === "stop" ? "stopped what went on" : "held it";
  return {
    because: `${who} ${did} at ${formatUtcMinute(utcMs)}`,
    whatToDo: `Let it go on when ${who} agrees; nothing begins before.`,
  };
}

/** Why nothing may be begun before a person has acted, by the records that `run` and `restore` keep; the gravest first. */
export function whyHeld({ records, rigFile, isGivenUp, nowUtcMs }: HoldFacts): Hold | undefined {
  const { rig } = rigFile;
  const left = findUnfinishedRuns(records, rig).runs.find(({ runId }) => isGivenUp(runId));
  if (left)
    return {
      because: `the rig could not be put back as it was before the run ${left.runId}`,
      whatToDo:
        "Put right by hand what that run's report names and keep the cover closed until then; then run `evenfield restore --rig RIG`, or with `--accept` if the rig is to stay as it is.",
    };
  const trip = findUnconfirmedTrip(records, rigFile);
  if (trip) return { because: tripProblem(trip), whatToDo: `${confirmAfterTrip(trip)} ${cautionText}` };
  const doubt = filterProblem(rigFile.sunFilter, nowUtcMs);
  if (doubt === undefined) return undefined;
  return {
    because: doubt,
    whatToDo: `Inspect the filter, then write the day into \`lastConfirmed\` of the rig file. ${cautionText}`,
  };
}
