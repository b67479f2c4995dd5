import type { Finding } from "../../agent/rehearsal/checkers/checker.ts";
import {
  exposedTooLong,
  isExposed,
  lostFilterShownMs,
} from "../../agent/rehearsal/checkers/exposed-too-long.ts";
import { brokenFiles } from "../../agent/rehearsal/checkers/files-whole.ts";
import type { Happened, Violation } from "../../agent/rehearsal/checkers/happened.ts";
import { leftExposed } from "../../agent/rehearsal/checkers/left-exposed.ts";
import { type Ending, reportedAtEnd } from "../../agent/rehearsal/checkers/reported-at-end.ts";
import { uncoveredMoves } from "../../agent/rehearsal/checkers/uncovered-moves.ts";
import { deceives } from "../../agent/rehearsal/faults/fault.ts";
import type { FaultKind } from "./fault-kinds.ts";
import type { Storm } from "./storm.ts";

const losesFiles: ReadonlySet<FaultKind> = new Set(["run folder gone", "disk takes nothing"]);

/** Everything in a storm that must never happen, in order. */
export function judgeStorm({
  storm,
  happened,
  endings,
  findings,
}: {
  readonly storm: Storm;
  readonly happened: Happened;
  readonly endings: readonly Ending[];
  /** Of checkers that only look at the world. */
  readonly findings: readonly Finding[];
}): Violation[] {
  const { moments, struck } = happened;
  const wasFoundOpen = moments[0] !== undefined && isExposed(moments[0]);
  const isDangerous =
    struck.some(({ danger, endedMs }) => danger?.seenBy && endedMs === undefined) ||
    (moments.at(-1)?.filterFitted === false && lostFilterShownMs(happened) !== undefined);
  const isBack = endings.at(-1)?.settings?.every(({ state }) => state !== "different") ?? false;
  const files = endings.flatMap(({ atMs, folder, files }) =>
    folder === undefined || files === undefined || storm.faults.some(({ kind }) => losesFiles.has(kind))
      ? []
      : brokenFiles(folder, files).map((what) => ({ atMs, class: "files", what })),
  );
  return [
    ...exposedTooLong(happened),
    ...uncoveredMoves(happened),
    ...leftExposed(happened, wasFoundOpen && isBack && !isDangerous),
    ...endings.flatMap(reportedAtEnd),
    ...files,
    ...findings
      .filter((finding) => !isExplained(finding, happened, endings))
      .map(({ atMs, checker, what }) => ({ atMs, class: checker, what })),
  ].sort((a, b) => a.atMs - b.atMs);
}

/** Not the agent's doing, or reported in its last words. */
function isExplained(
  { checker, role, atMs, what }: Finding,
  { struck, lives }: Happened,
  endings: readonly Ending[],
): boolean {
  if (role === undefined || checker === "commandBeforeBaseline") return false;
  if (checker === "leftAtEnd") {
    const last = endings.at(-1);
    const isReported =
      (role === "cover" && last?.isReportedUncovered) ||
      last?.settings?.some((one) => one.role === role && one.state !== "same");
    const staysBusy = struck.some((one) => one.endedMs === undefined && one.staysBusy?.includes(role));
    const isUnknowable = last?.unknowable.some((one) => one === role || one.startsWith(`${role}.`));
    return isReported === true || staysBusy || (role !== "camera" && isUnknowable === true);
  }
  // A mount that refuses what a later process asks by a wrong clock.
  const isLater = lives.findLast(({ fromMs }) => fromMs <= atMs)?.purpose === "restore";
  if (isLater && what.includes("limitRefused") && struck.some(({ setsClock }) => setsClock)) return true;
  // One that obeys nobody runs on by itself.
  const isRunningOn = what.includes("limitReached");
  if (isRunningOn && struck.some(({ blocks, beganMs }) => blocks?.includes("mount") && beganMs <= atMs))
    return true;
  return struck.some(
    (fault) =>
      fault.beganMs <= atMs &&
      (deceives(fault, role) ||
        [fault.foreign, fault.staysBusy, fault.doubles].some((roles) => roles?.includes(role))),
  );
}
