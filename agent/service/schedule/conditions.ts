import type { Condition } from "../../../plans/schedule-entries.ts";

/** What is known of the rig's flats, from the ledger, and of the train as it is now. */
export interface FlatFacts {
  /** Of the rig as it is now; `undefined` when it is not known. */
  readonly trainMark: string | undefined;
  /** Of the rig, newest first. */
  readonly flats: readonly {
    readonly trainMark: string;
    readonly madeUtcMs: number;
    readonly verdict: string;
  }[];
}

export interface ConditionJudgement {
  /** `unknown`: it can't be told before the rig is asked. */
  readonly holds: true | false | "unknown";
  readonly text: string;
}

/** Whether one of the conditions holds. What can't be known keeps nothing from beginning: the plan itself looks again. */
export function judgeConditions(
  conditions: readonly Condition[] | undefined,
  facts: FlatFacts,
  nowUtcMs: number,
): ConditionJudgement {
  if (!conditions) return { holds: true, text: "it begins in any case" };
  const judged = conditions.map((condition) => judgeCondition(condition, facts, nowUtcMs));
  const found = judged.find(({ holds }) => holds === true) ?? judged.find(({ holds }) => holds === "unknown");
  return found ?? { holds: false, text: judged.map(({ text }) => text).join("; ") };
}

function judgeCondition(
  condition: Condition,
  { trainMark, flats }: FlatFacts,
  nowUtcMs: number,
): ConditionJudgement {
  const newest = flats[0];
  if (typeof condition === "object") {
    if (!newest) return { holds: true, text: "there is no flat yet" };
    const hours = (nowUtcMs - newest.madeUtcMs) / 3_600_000;
    const text = `the last flat is ${hours.toFixed(1)} hours old`;
    return { holds: hours > condition.lastFlatOlderThanHours, text };
  }
  if (condition === "last-verdict-not-good") {
    if (!newest) return { holds: true, text: "there is no flat yet" };
    return { holds: newest.verdict !== "good", text: `the last flat's verdict is ${newest.verdict}` };
  }
  if (!newest) return { holds: true, text: "there is no flat yet" };
  if (trainMark === undefined)
    return { holds: "unknown", text: "how the optical train is now is asked of the rig when it is due" };
  if (condition === "train-changed") {
    const changed = newest.trainMark !== trainMark;
    return { holds: changed, text: `the optical train is ${changed ? "not " : ""}that of the last flat` };
  }
  const kept = flats.some(
    (flat) => flat.trainMark === trainMark && (flat.verdict === "good" || flat.verdict === "usable"),
  );
  return {
    holds: !kept,
    text: kept ? "a flat of this optical train is kept" : "no good or usable flat of this train is kept",
  };
}
