import { expect, test } from "vitest";
import { type FaultKind, faultKindNames, kindOf } from "./fault-kinds.ts";
import { playStorm } from "./play-storm.ts";
import type { Phase, Storm } from "./storm.ts";

/** One fault in an otherwise quiet run, half a second after the second exposure of the open telescope has begun. */
interface Scenario {
  readonly says: string;
  readonly protocol: "indi" | "alpaca";
  /** `undefined`: killed. */
  readonly exitCodes: readonly (number | undefined)[];
  readonly plan?: Storm["plan"];
  readonly phase?: Phase;
  readonly forSeconds?: number;
  readonly draw?: number;
}

const scenarios: Readonly<Record<FaultKind, Scenario>> = {
  "replies lost": {
    says: "the mount's next replies never come while the telescope is open",
    protocol: "indi",
    exitCodes: [0, 4, 5],
  },
  "replies late": {
    says: "every reply comes late: the cover is told to close all the same",
    protocol: "alpaca",
    exitCodes: [0, 4, 5, 6],
    draw: 3,
  },
  "replies doubled": { says: "every reply comes twice", protocol: "indi", exitCodes: [0] },
  "replies reordered": { says: "replies overtake each other", protocol: "indi", exitCodes: [0, 4, 5] },
  "link cut": {
    says: "the link is cut for 40 s: covered within 15 s and the cover's travel of its return",
    protocol: "alpaca",
    exitCodes: [0, 4, 5],
    forSeconds: 40,
  },
  "link cut for good": {
    says: "the link is cut for good: the run ends and says what is left",
    protocol: "indi",
    exitCodes: [6],
  },
  "servers restart": {
    says: "the servers restart with all their drivers",
    protocol: "alpaca",
    exitCodes: [0, 4, 5],
  },
  "driver restarts": { says: "a driver restarts", protocol: "indi", exitCodes: [0, 4, 5] },
  "driver gone": {
    says: "a driver ends for good: all else is put back",
    protocol: "alpaca",
    exitCodes: [0, 4, 5, 6],
  },
  "device silent": { says: "a device answers nobody any more", protocol: "indi", exitCodes: [0, 4, 5, 6] },
  "never leaves Busy": {
    says: "a device does what it is told and stays Busy",
    protocol: "alpaca",
    exitCodes: [0, 4, 5, 6],
  },
  "commands ignored": {
    says: "a device takes commands and does nothing",
    protocol: "indi",
    exitCodes: [0, 4, 5, 6],
  },
  "properties redefined": {
    says: "a driver takes its properties back and defines them again",
    protocol: "indi",
    exitCodes: [0, 5],
  },
  "lying readback": {
    says: "the camera reads back settings that it does not have",
    protocol: "alpaca",
    exitCodes: [0, 3, 5, 7],
  },
  "another exposure's picture": {
    says: "the camera delivers the picture of another exposure",
    protocol: "indi",
    exitCodes: [0, 5],
  },
  "pictures truncated": { says: "pictures end in the middle", protocol: "indi", exitCodes: [0, 5] },
  "pictures black": { says: "pictures are black", protocol: "alpaca", exitCodes: [3, 5, 7] },
  "pictures saturated": {
    says: "pictures are saturated: taken for a lost filter",
    protocol: "indi",
    exitCodes: [4],
  },
  "pictures of another size": {
    says: "pictures are smaller than asked for",
    protocol: "alpaca",
    exitCodes: [5],
  },
  "camera stuck busy": { says: "exposures never end", protocol: "indi", exitCodes: [5] },
  "cover jams": {
    says: "the cover sticks while it closes: the telescope turns off the Sun",
    protocol: "alpaca",
    exitCodes: [6],
  },
  "cover stops half way": { says: "the cover stops half way", protocol: "indi", exitCodes: [6] },
  "cover lies": {
    says: "the cover says that it has closed, and has not: a frame shows it",
    protocol: "alpaca",
    exitCodes: [4, 6],
  },
  "cover says closed": {
    says: "the cover says that it is closed while it is open",
    protocol: "indi",
    exitCodes: [4, 6],
  },
  "cover opens itself": {
    says: "the cover opens by itself while the telescope moves to the Sun",
    protocol: "alpaca",
    exitCodes: [0, 4, 5],
    phase: "coveredSlew",
  },
  "diffuser jams": {
    says: "the diffuser sticks on its way into the light",
    protocol: "indi",
    exitCodes: [5, 6],
    plan: "flat",
    phase: "closing",
  },
  "diffuser lies": {
    says: "the diffuser says that it is in the light, and is not",
    protocol: "alpaca",
    exitCodes: [0, 3, 4, 5, 7],
    plan: "flat",
    phase: "closing",
  },
  "motors stall": {
    says: "the mount says that it tracks and stands still",
    protocol: "indi",
    exitCodes: [0, 3, 4, 5, 7],
  },
  "mount stops": { says: "the mount has no power for its motors", protocol: "alpaca", exitCodes: [6] },
  "mount runs away": {
    says: "an axis runs away: covered, off the Sun or stopped",
    protocol: "indi",
    exitCodes: [3, 4, 5, 6, 7],
    forSeconds: 60,
  },
  "mount jumps": {
    says: "the mount suddenly takes itself to be elsewhere",
    protocol: "alpaca",
    exitCodes: [3, 4, 5, 6, 7],
  },
  "mount stays busy": { says: "the mount arrives and never says so", protocol: "indi", exitCodes: [5, 6] },
  "mount refuses to track": {
    says: "the mount does not begin to track any more",
    protocol: "alpaca",
    exitCodes: [4, 5, 6],
  },
  "slew ends elsewhere": { says: "a slew ends elsewhere", protocol: "alpaca", exitCodes: [4, 5] },
  "filter lost": {
    says: "the filter falls off: covered within 5 s and the cover's travel of the first frame that shows it",
    protocol: "indi",
    exitCodes: [4],
  },
  cloud: { says: "a cloud comes", protocol: "alpaca", exitCodes: [0, 3, 5, 7] },
  rain: { says: "it begins to rain", protocol: "indi", exitCodes: [4] },
  wind: { says: "a storm sets in", protocol: "alpaca", exitCodes: [4] },
  "station silent": {
    says: "the weather station falls silent",
    protocol: "indi",
    exitCodes: [4, 6],
    plan: "waits",
  },
  "disk full": { says: "the disk is full", protocol: "alpaca", exitCodes: [4] },
  "disk takes nothing": {
    says: "the disk takes nothing more: all is put back, and what was not written is said",
    protocol: "indi",
    exitCodes: [5],
  },
  "run folder gone": { says: "the run's folder is gone", protocol: "indi", exitCodes: [0, 1, 5] },
  "ledger locked": { says: "another program holds the ledger", protocol: "alpaca", exitCodes: [0, 5, 6] },
  "ledger overwritten": {
    says: "the ledger is overwritten with noise",
    protocol: "indi",
    exitCodes: [0, 5, 6],
  },
  "agent killed": {
    says: "the agent is killed: its keeper covers the telescope",
    protocol: "alpaca",
    exitCodes: [undefined],
  },
  "agent stopped": {
    says: "the agent stands still for a minute: its keeper covers the telescope",
    protocol: "indi",
    exitCodes: [4, 5],
    forSeconds: 60,
  },
  "keeper killed": { says: "the keeper is killed: the run ends", protocol: "alpaca", exitCodes: [4] },
  "clock stepped": { says: "the computer's clock is set", protocol: "indi", exitCodes: [4] },
  "operator's stop": { says: "the operator stops the run", protocol: "alpaca", exitCodes: [130] },
  "another client": { says: "another client commands the rig", protocol: "indi", exitCodes: [0, 3, 4, 5, 7] },
};

test.each(faultKindNames.map((kind) => [scenarios[kind].says, kind] as const))("%s", async (_, kind) => {
  const {
    protocol,
    exitCodes,
    plan = "images",
    phase = "exposing",
    forSeconds,
    draw = 12345,
  } = scenarios[kind];
  const { happened, endings, violations } = await playStorm({
    seed: 1,
    plan,
    rig: { protocol, without: [], byHand: [], silenceSecondsMax: 10 },
    found: { cover: "closed", pointing: "parked", diffuserIn: false, domeOpen: true },
    faults: [
      {
        kind,
        draw,
        when: { phase, nth: phase === "exposing" ? 2 : 1, afterSeconds: 0.5 },
        ...(forSeconds !== undefined && { forSeconds }),
      },
    ],
    restartSeconds: 45,
  });
  expect(happened.struck.length).toBeGreaterThan(0);
  expect(violations).toEqual([]);
  expect(exitCodes).toContain(endings.find(({ purpose }) => purpose === "run")?.exitCode);
});

test("what always passes is given a time in its scenario", () => {
  for (const kind of faultKindNames)
    if (kindOf(kind).lasts === "passes") expect(scenarios[kind].forSeconds, kind).toBeGreaterThan(0);
});

/** Faults of which one hides the other, and what no kind of fault is: what is left is found and told all the same. */
const others: readonly [string, Partial<Storm>, readonly number[]][] = [
  [
    "no frame can be taken, and the cover says closed and is open: the telescope is not left on the Sun",
    {
      found: { cover: "closed", pointing: "atSun", diffuserIn: false, domeOpen: true },
      faults: [
        { kind: "camera stuck busy", draw: 1, when: { phase: "exposing", nth: 2, afterSeconds: 0.5 } },
        { kind: "cover lies", draw: 1, when: { phase: "afterFirst", nth: 1, afterSeconds: 0.1 } },
      ],
    },
    [4, 5, 6],
  ],
  [
    "a person who lies, and a camera that is gone when the rig is put back: nor is it carried there later",
    {
      rig: { protocol: "alpaca", without: [], byHand: ["cover"], person: "lying", silenceSecondsMax: 10 },
      found: { cover: "open", pointing: "atSun", diffuserIn: false, domeOpen: true },
      faults: [{ kind: "driver gone", draw: 1, when: { phase: "restoring", nth: 1, afterSeconds: 1.4 } }],
    },
    [4, 6],
  ],
  [
    "a cover that does not open when told to, then opens and says that it is closed: the mount does not go back to the Sun",
    {
      found: { cover: "closed", pointing: "atSun", diffuserIn: false, domeOpen: true },
      faults: [
        { kind: "device silent", draw: 5, when: { phase: "closing", nth: 1, afterSeconds: 3 } },
        { kind: "cover says closed", draw: 1, when: { phase: "afterFirst", nth: 1, afterSeconds: 10 } },
      ],
    },
    [4, 5, 6],
  ],
  [
    "the Sun sinks below the plan's limit in a wait: nothing looks at it any more",
    { plan: "waits", sinksAfterSeconds: 100 },
    [4],
  ],
  [
    "another client opens the cover in a covered slew, of which Alpaca tells nobody: it is seen and closed",
    {
      rig: { protocol: "alpaca", without: [], byHand: [], silenceSecondsMax: 10 },
      faults: [{ kind: "another client", draw: 7, when: { phase: "coveredSlew", nth: 1, afterSeconds: 1 } }],
    },
    [4],
  ],
  [
    "the mount does not track any more and can't be slewed, and the cover lies: it is parked",
    {
      rig: { protocol: "alpaca", without: [], byHand: [], silenceSecondsMax: 10 },
      faults: [
        { kind: "mount refuses to track", draw: 1, when: { phase: "uncovered", nth: 1, afterSeconds: 0.4 } },
        { kind: "cover lies", draw: 1, when: { phase: "afterFirst", nth: 1, afterSeconds: 7 } },
      ],
    },
    [4],
  ],
  [
    "every answer takes 12 s: covered, and put back all the same",
    {
      rig: { protocol: "alpaca", without: [], byHand: [], silenceSecondsMax: 10 },
      faults: [{ kind: "replies late", draw: 9, when: { phase: "exposing", nth: 2, afterSeconds: 0.5 } }],
    },
    [4],
  ],
  [
    "the agent is killed while it makes safe from a lost filter: whoever restores knows why, and opens nothing",
    {
      rig: { protocol: "alpaca", without: [], byHand: [], silenceSecondsMax: 10 },
      found: { cover: "open", pointing: "atSun", diffuserIn: false, domeOpen: true },
      faults: [
        { kind: "filter lost", draw: 1, when: { phase: "uncovered", nth: 1, afterSeconds: 0.05 } },
        { kind: "agent killed", draw: 1, when: { phase: "afterFirst", nth: 1, afterSeconds: 4 } },
      ],
    },
    [],
  ],
  [
    "the clock is set: a mount that stood is not sent to an hour angle by another time",
    {
      rig: { protocol: "indi", without: [], byHand: [], silenceSecondsMax: 10 },
      found: { cover: "closed", pointing: "away", diffuserIn: false, domeOpen: true },
      faults: [{ kind: "clock stepped", draw: 12345, when: { phase: "atSun", nth: 1, afterSeconds: 1 } }],
    },
    [6],
  ],
];

test.each(others)("%s", async (_, given, exitCodes) => {
  const { endings, violations } = await playStorm({
    seed: 1,
    plan: "images",
    rig: { protocol: "indi", without: [], byHand: [], silenceSecondsMax: 10 },
    found: { cover: "closed", pointing: "parked", diffuserIn: false, domeOpen: true },
    faults: [],
    restartSeconds: 45,
    ...given,
  });
  expect(violations).toEqual([]);
  const run = endings.find(({ purpose }) => purpose === "run");
  if (exitCodes.length === 0)
    expect(run).toBeUndefined(); // killed
  else expect(exitCodes).toContain(run?.exitCode);
});
