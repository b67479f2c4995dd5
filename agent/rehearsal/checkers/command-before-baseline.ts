import { connectionKey } from "../../../drivers/roles/kept-settings.ts";
import type { World } from "../../../sim-devices/scene/world.ts";
import type { Ledger } from "../../run/ledger/ledger.ts";
import type { Checker } from "./checker.ts";

/** What changes no setting and moves nothing: connecting, and asking a weather station for its report. */
const harmless = /: (?:CONNECTION|WEATHER_REFRESH|connect|connected|disconnect)$/;

/** A device was commanded while nothing on the disk said how the rig was found. */
export const commandBeforeBaseline: Checker = (history) => {
  let isOnDisk = true;
  return history.flatMap(({ atMs, part, what, detail = "" }) => {
    if (part === "agent") isOnDisk = what !== "works without a baseline";
    if (isOnDisk || what !== "commanded" || harmless.test(detail)) return [];
    return [{ atMs, checker: "commandBeforeBaseline", what: `${detail} before the baseline was on disk` }];
  });
};

/**
 * Tells the world whenever it changes whether the ledger says how the rig was found, while an agent is at work.
 * @returns to be called at its end
 */
export function noteBaselines(world: World, ledger: Ledger, rig: string): () => void {
  const note = () => world.noteAgent(`works ${isOnDisk(ledger, rig) ? "with" : "without"} a baseline`);
  const original = { saveBaseline: ledger.saveBaseline, closeRun: ledger.closeRun };
  ledger.saveBaseline = (...given) => {
    original.saveBaseline.apply(ledger, given);
    note();
  };
  ledger.closeRun = (...given) => {
    original.closeRun.apply(ledger, given);
    note();
  };
  note();
  return () => {
    Object.assign(ledger, original);
    world.noteAgent("is gone");
  };
}

function isOnDisk(ledger: Ledger, rig: string): boolean {
  return ledger
    .unfinishedRuns(rig)
    .some(({ runId }) => ledger.baselineOf(runId)?.some(({ setting }) => setting.key !== connectionKey));
}
