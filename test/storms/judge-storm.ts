import { exposedTooLong, isExposed } from "../stage/checkers/exposed-too-long.ts";
import { brokenFiles } from "../stage/checkers/files-whole.ts";
import type { Happened, Violation } from "../stage/checkers/happened.ts";
import { leftExposed } from "../stage/checkers/left-exposed.ts";
import { type Ending, reportedAtEnd } from "../stage/checkers/reported-at-end.ts";
import { uncoveredMoves } from "../stage/checkers/uncovered-moves.ts";
import type { Storm } from "./storm.ts";

/** Everything in a storm that must never happen, in order. */
export function judgeStorm({
  storm,
  happened,
  endings,
}: {
  readonly storm: Storm;
  readonly happened: Happened;
  readonly endings: readonly Ending[];
}): Violation[] {
  const { moments, struck } = happened;
  const wasFoundOpen = moments[0] !== undefined && isExposed(moments[0]);
  const isDangerous =
    struck.some(({ danger, endedMs }) => danger?.seenBy && endedMs === undefined) ||
    moments.at(-1)?.filterFitted === false;
  const isBack = endings.at(-1)?.settings?.every(({ state }) => state !== "different") ?? false;
  const files = endings.flatMap(({ atMs, folder, files }) =>
    folder === undefined || files === undefined || storm.faults.some(({ kind }) => kind === "run folder gone")
      ? []
      : brokenFiles(folder, files).map((what) => ({ atMs, class: "files", what })),
  );
  return [
    ...exposedTooLong(happened),
    ...uncoveredMoves(happened),
    ...leftExposed(happened, wasFoundOpen && isBack && !isDangerous),
    ...endings.flatMap(reportedAtEnd),
    ...files,
  ].sort((a, b) => a.atMs - b.atMs);
}
