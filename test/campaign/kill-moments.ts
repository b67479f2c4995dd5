import { isExposed } from "../../agent/rehearsal/checkers/exposed-too-long.ts";
import type { Happened } from "../../agent/rehearsal/checkers/happened.ts";
import { Random } from "../../drivers/kit/random.ts";
import type { FaultKind } from "../storms/fault-kinds.ts";
import { playStorm, type StormPlayed } from "../storms/play-storm.ts";
import type { Storm } from "../storms/storm.ts";

/** Who is killed, all at one moment. */
const victims = {
  agent: ["agent killed"],
  "agent and servers": ["servers restart", "agent killed"],
  "agent and keeper": ["keeper killed", "agent killed"],
} as const satisfies Readonly<Record<string, readonly FaultKind[]>>;

/** The longest of the plans takes so long with nothing in its way [s]. */
const runSecondsMax = 220;

/**
 * `npm run campaign kills -- [COUNT]`: kills at so many random moments each, in virtual time; a new process puts back.
 * @returns whether all were put back, and none that had a keeper stood open to the Sun for too long
 */
export async function run({
  seed,
  count,
  print,
}: {
  readonly seed: number;
  readonly count: number;
  readonly print: (line: string) => void;
}): Promise<boolean> {
  let isGood = true;
  for (const [who, kinds] of Object.entries(victims)) {
    const random = new Random(seed).fork(who);
    const rows: Row[] = [];
    for (let trial = 0; trial < count; trial++) {
      const played = await playStorm(killStorm(random.fork(`${trial}`), kinds));
      const row = rowOf(played);
      rows.push(row);
      if (row.wrong.length > 0) print(`  ${who}, trial ${trial}: ${row.wrong.join("; ")}`);
    }
    const killed = rows.filter(({ isKilled }) => isKilled);
    const opened = killed.map(({ exposedSeconds }) => exposedSeconds).filter((seconds) => seconds > 0);
    const good = killed.filter(({ wrong }) => wrong.length === 0).length;
    const asFound = killed.filter(({ isAsFound }) => isAsFound).length;
    print(`${who}: killed in mid-run ${killed.length} of ${count}`);
    print(`  put back, or what is not so was said   ${good} of ${killed.length}   (goal all)`);
    print(`  as found                               ${asFound}`);
    print(`  open to the Sun when killed            ${opened.length}`);
    print(`  longest open to the Sun after it       ${Math.max(0, ...opened).toFixed(1)} s`);
    isGood &&= rows.every(({ wrong }) => wrong.length === 0);
  }
  return isGood;
}

function killStorm(random: Random, kinds: readonly FaultKind[]): Storm {
  const when = { phase: "start", nth: 1, afterSeconds: random.between(0.5, runSecondsMax) } as const;
  return {
    seed: random.whole(1, 1e6),
    plan: random.pick(["images", "waits", "flat"]),
    rig: {
      protocol: random.pick(["indi", "alpaca", ["cover"]] as const),
      without: [],
      byHand: [],
      silenceSecondsMax: 60,
    },
    found: {
      cover: random.pick(["open", "closed"]),
      pointing: random.pick(["parked", "atSun"]),
      diffuserIn: false,
      domeOpen: true,
    },
    faults: kinds.map((kind) => ({ kind, draw: random.whole(0, 0x7fffffff), when })),
    restartSeconds: 120,
  };
}

interface Row {
  readonly isKilled: boolean;
  readonly isAsFound: boolean;
  /** From the kill until it was covered or off the Sun, or another agent came. */
  readonly exposedSeconds: number;
  readonly wrong: readonly string[];
}

function rowOf({ happened, endings, violations }: StormPlayed): Row {
  return {
    isKilled: happened.lives[0]?.isKilled ?? false,
    isAsFound: endings.at(-1)?.differences.length === 0,
    exposedSeconds: exposedAfterKill(happened),
    wrong: violations.map((one) => `${one.class}: ${one.what}`),
  };
}

function exposedAfterKill({ moments, lives }: Happened): number {
  const [first, next] = lives;
  if (!first?.isKilled) return 0;
  const untilMs = next?.fromMs ?? Number.POSITIVE_INFINITY;
  const before = moments.findLast(({ atMs }) => atMs <= first.untilMs);
  if (!before || !isExposed(before)) return 0;
  const safe = moments.find((one) => one.atMs > first.untilMs && one.atMs < untilMs && !isExposed(one));
  return ((safe?.atMs ?? Math.min(untilMs, moments.at(-1)!.atMs)) - first.untilMs) / 1000;
}
