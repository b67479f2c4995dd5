import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { describe, expect, test } from "vitest";
import { exposedTooLong } from "../../../agent/rehearsal/checkers/exposed-too-long.ts";
import { brokenFiles } from "../../../agent/rehearsal/checkers/files-whole.ts";
import type { Happened, Life } from "../../../agent/rehearsal/checkers/happened.ts";
import { leftExposed } from "../../../agent/rehearsal/checkers/left-exposed.ts";
import { type Ending, reportedAtEnd, roleOf } from "../../../agent/rehearsal/checkers/reported-at-end.ts";
import { uncoveredMoves } from "../../../agent/rehearsal/checkers/uncovered-moves.ts";
import type { SettingRecord } from "../../../agent/run/record/run-record.ts";
import { encodeFits } from "../../../drivers/formats/fits-write.ts";
import type { Moment } from "../../../sim-devices/scene/moment.ts";

/** Histories written by hand: what a checker has to find, and what it has to leave alone. */

const covered: Moment = {
  atMs: 0,
  part: "sky",
  what: "looked",
  coverOpen: 0,
  coverReported: 0,
  coverTarget: 0,
  roofOpen: 1,
  diffuserIn: 0,
  mount: "still",
  parked: false,
  sunSeparationDegrees: 0,
  sunAltitudeDegrees: 50,
  exposing: false,
  filterFitted: true,
};
const open: Moment = { ...covered, coverOpen: 1, coverReported: 1, coverTarget: 1 };
const moment = (atSeconds: number, of: Moment, change: Partial<Moment> = {}): Moment => ({
  ...of,
  atMs: atSeconds * 1000,
  ...change,
});
const coverMoves = { part: "cover", what: "moveStarted" };

const life: Life = { purpose: "run", fromMs: 0, untilMs: 1e6, isKilled: false, baselineMs: 1000 };

/** Uncovered at the Sun from 10 s on, until what is given. */
const happened = (then: readonly Moment[], more: Partial<Happened> = {}): Happened => ({
  moments: [moment(0, covered), moment(5, covered, coverMoves), moment(10, open), ...then],
  struck: [],
  lives: [life],
  rig: {
    driven: ["camera", "mount", "cover", "weather"],
    byHand: [],
    silenceSecondsMax: 60,
    coverSeconds: 5,
  },
  ...more,
});
const rain = (beganSeconds: number, endedSeconds?: number): Happened["struck"][number] => ({
  name: "rain",
  danger: { why: "rain", seenBy: "weather" },
  beganMs: beganSeconds * 1000,
  ...(endedSeconds !== undefined && { endedMs: endedSeconds * 1000 }),
});
const classes = (violations: readonly { readonly class: string }[]) => violations.map((one) => one.class);

describe("open to the Sun for longer than allowed", () => {
  const closedAt = (seconds: number) => [moment(seconds, covered), moment(200, covered)];

  test("rain, and the cover closes within half a minute and its travel, or does not", () => {
    expect(exposedTooLong(happened(closedAt(54), { struck: [rain(20)] }))).toEqual([]);
    expect(classes(exposedTooLong(happened(closedAt(56), { struck: [rain(20)] })))).toEqual([
      "exposed: rain",
    ]);
  });

  test("rain that was over in time, or that no station saw, asks for nothing", () => {
    expect(exposedTooLong(happened([moment(200, open)], { struck: [rain(20, 50)] }))).toEqual([]);
    const rig = {
      driven: ["camera", "mount", "cover"],
      byHand: [],
      silenceSecondsMax: 60,
      coverSeconds: 5,
    } as const;
    expect(exposedTooLong(happened([moment(200, open)], { struck: [rain(20)], rig }))).toEqual([]);
  });

  test("off the Sun, under a shut roof or after sunset is safe as well", () => {
    for (const safe of [{ sunSeparationDegrees: 30 }, { roofOpen: 0 }, { sunAltitudeDegrees: -3 }])
      expect(
        exposedTooLong(happened([moment(40, open, safe), moment(200, open, safe)], { struck: [rain(20)] })),
      ).toEqual([]);
  });

  test("closed in time and opened again while it rains", () => {
    const again = [moment(30, covered), moment(90, open), moment(200, open)];
    expect(classes(exposedTooLong(happened(again, { struck: [rain(20)] })))).toEqual(["exposed: rain"]);
  });

  test("a killed agent leaves the telescope open until the next one comes", () => {
    const killed: Happened["struck"][number] = {
      name: "kill",
      danger: { why: "agent killed", isOfAgent: true },
      beganMs: 20_000,
      endedMs: 20_000,
    };
    const lives: Life[] = [
      { ...life, untilMs: 20_000, isKilled: true },
      { ...life, purpose: "restore", fromMs: 80_000, untilMs: 120_000 },
    ];
    const until = (seconds: number) => happened(closedAt(seconds), { struck: [killed], lives });
    expect(exposedTooLong(until(50))).toEqual([]);
    expect(classes(exposedTooLong(until(70)))).toEqual(["exposed: agent killed"]);
    const keeper = (beganMs: number) =>
      ({ name: "keeper", endsKeeper: true, beganMs, endedMs: beganMs }) as const;
    const alone = (beganMs: number) => ({ ...until(70), struck: [keeper(beganMs), killed] });
    expect(exposedTooLong(alone(15_000))).toEqual([]);
    expect(classes(exposedTooLong(alone(-60_000)))).toEqual(["exposed: agent killed"]);
  });

  test("the Sun sinks below the plan's limit, and the run goes on, or not", () => {
    const { rig } = happened([]);
    const low = { sunAltitudeDegrees: 19.9 };
    const until = (seconds: number) => ({
      ...happened([moment(20, open, low), moment(seconds, covered, low), moment(200, covered, low)]),
      rig: { ...rig, sunAltitudeDegreesMin: 20 },
    });
    expect(exposedTooLong(until(54))).toEqual([]);
    expect(classes(exposedTooLong(until(56)))).toEqual(["exposed: Sun too low"]);
    expect(exposedTooLong({ ...until(56), rig })).toEqual([]);
  });

  test("a full disk is a danger to the run, and none to who puts back after it", () => {
    const full: Happened["struck"][number] = {
      name: "full",
      danger: { why: "disk full", isOfAgent: true },
      beganMs: 20_000,
    };
    const lives: Life[] = [
      { ...life, untilMs: 100_000 },
      { ...life, purpose: "restore", fromMs: 150_000, untilMs: 200_000 },
    ];
    const until = (...then: Moment[]) => happened(then, { struck: [full], lives });
    expect(exposedTooLong(until(moment(50, covered), moment(190, open), moment(900, open)))).toEqual([]);
    expect(classes(exposedTooLong(until(moment(70, covered), moment(900, covered))))).toEqual([
      "exposed: disk full",
    ]);
  });

  test("while neither cover nor mount obeys no time passes; after the link's return 15 s and travel do", () => {
    const cut = {
      name: "link",
      danger: { why: "link lost", isSilence: true },
      blocks: ["cover", "mount"],
      beganMs: 20_000,
      endedMs: 300_000,
    } as const;
    const until = (seconds: number) =>
      happened([moment(seconds, covered), moment(900, covered)], { struck: [cut] });
    expect(exposedTooLong(until(319))).toEqual([]);
    expect(classes(exposedTooLong(until(325)))).toEqual(["exposed: link lost"]);
    const short = { ...cut, endedMs: 60_000 };
    expect(exposedTooLong(happened([moment(900, open)], { struck: [short] }))).toEqual([]);
  });

  test("a cover that sticks half way: the mount has to turn away", () => {
    const stuck = moment(30, open, { part: "cover", what: "moveJammed", coverOpen: 0.5, coverReported: 0.5 });
    const jam: Happened["struck"][number] = { name: "jam", blocks: ["cover"], beganMs: 20_000 };
    const turnsAt = (seconds: number) => [
      stuck,
      moment(seconds, stuck, { part: "mount", sunSeparationDegrees: 30 }),
    ];
    const until = (seconds: number) =>
      happened([...turnsAt(seconds), moment(300, open, { sunSeparationDegrees: 30 })], { struck: [jam] });
    expect(exposedTooLong(until(70))).toEqual([]);
    expect(classes(exposedTooLong(until(80)))).toEqual(["exposed: cover stuck"]);
  });

  test("a lost filter counts from the first frame that shows it, and for ever", () => {
    const bare = { filterFitted: false };
    const seen = [
      moment(20, open, { ...bare, part: "filter", what: "lost" }),
      moment(30, open, { ...bare, part: "camera", what: "exposureStarted" }),
      moment(31, open, { ...bare, part: "camera", what: "frameReady" }),
    ];
    const then = (...moments: Moment[]) => happened([...seen, ...moments]);
    expect(exposedTooLong(then(moment(40, covered, bare), moment(900, covered, bare)))).toEqual([]);
    expect(classes(exposedTooLong(then(moment(43, covered, bare))))).toEqual(["exposed: filter lost"]);
    const again = [moment(40, covered, bare), moment(500, open, bare), moment(510, open, bare)];
    expect(classes(exposedTooLong(then(...again)))).toEqual(["exposed: filter lost"]);
    expect(exposedTooLong(happened([seen[0]!, moment(900, open, bare)]))).toEqual([]); // nothing looked
    const picture = (seconds: number, detail: string) =>
      moment(seconds, open, { ...bare, part: "wire", what: "picture", detail });
    const broken = picture(31, "did not come whole");
    expect(exposedTooLong(then(broken, moment(900, open, bare)))).toEqual([]); // nobody got it
    expect(exposedTooLong(then(broken, picture(50, "came late"), moment(59, covered, bare)))).toEqual([]);
    expect(
      classes(exposedTooLong(then(broken, picture(50, "came late"), moment(61, covered, bare)))),
    ).toEqual(["exposed: filter lost"]);
    const nextFrame = seen.slice(1).map((one) => ({ ...one, atMs: one.atMs + 10_000 }));
    expect(classes(exposedTooLong(then(broken, ...nextFrame, moment(52, covered, bare))))).toEqual([
      "exposed: filter lost",
    ]);
  });

  test("a cover that is open to the Sun and says that it is closed: a frame would show it", () => {
    const lies = { coverReported: 0 };
    const frame = [moment(30, open, { ...lies, part: "cover", what: "moveEnded" })];
    const struck: Happened["struck"] = [{ name: "lies", blocks: ["cover"], beganMs: 25_000 }];
    const away = { ...lies, sunSeparationDegrees: 30 };
    expect(
      exposedTooLong(happened([...frame, moment(60, open, away), moment(900, open, away)], { struck })),
    ).toEqual([]);
    expect(classes(exposedTooLong(happened([...frame, moment(900, open, lies)], { struck })))).toEqual([
      "exposed: cover lies",
    ]);
  });

  test("one that was closed and opens without a word is known only from the next frame on", () => {
    const lies = { coverReported: 0 };
    const struck: Happened["struck"] = [{ name: "lies", blocks: ["cover"], beganMs: 25_000 }];
    const moved = moment(10, covered, coverMoves);
    const opened = moment(30, open, { ...lies, part: "cover", what: "moveEnded" });
    const last = moment(900, open, lies);
    expect(exposedTooLong(happened([moved, opened, last], { struck }))).toEqual([]);
    const frame = [
      moment(40, open, { ...lies, what: "exposureStarted" }),
      moment(41, open, { ...lies, what: "frameReady" }),
    ];
    expect(classes(exposedTooLong(happened([moved, opened, ...frame, last], { struck })))).toEqual([
      "exposed: cover lies",
    ]);
  });

  test("how the rig was found is nobody's doing until somebody moves it", () => {
    const asFound = { ...happened([]), moments: [moment(0, open), moment(500, open)], struck: [rain(20)] };
    expect(exposedTooLong(asFound)).toEqual([]);
  });
});

describe("moves of an open telescope", () => {
  const slew = (atSeconds: number, fromDegrees: number, toDegrees: number, of: Moment = open) => [
    moment(atSeconds, of, {
      part: "mount",
      what: "slewStarted",
      mount: "slewing",
      sunSeparationDegrees: fromDegrees,
      targetSunSeparationDegrees: toDegrees,
    }),
    moment(atSeconds + 5, of, { mount: "slewing", sunSeparationDegrees: (fromDegrees + toDegrees) / 2 }),
    moment(atSeconds + 10, of, { part: "mount", what: "slewEnded", sunSeparationDegrees: toDegrees }),
  ];

  test("to the Sun, across it, and far away from it", () => {
    expect(classes(uncoveredMoves(happened(slew(20, 40, 0))))).toEqual(["uncovered move: to the Sun"]);
    const across = slew(20, 40, 40).with(1, moment(25, open, { mount: "slewing", sunSeparationDegrees: 2 }));
    expect(classes(uncoveredMoves(happened(across)))).toEqual(["uncovered move: to the Sun"]);
    expect(classes(uncoveredMoves(happened(slew(20, 0, 28))))).toEqual(["uncovered move: far"]);
  });

  test("a search round the Sun, a covered slew and a rig without a cover are as they should be", () => {
    expect(uncoveredMoves(happened([...slew(20, 0, 2), ...slew(40, 2, 0.5)]))).toEqual([]);
    expect(uncoveredMoves(happened(slew(20, 40, 0, covered)))).toEqual([]);
    const rig = { driven: ["camera", "mount"], byHand: [], silenceSecondsMax: 60, coverSeconds: 5 } as const;
    expect(uncoveredMoves(happened(slew(20, 40, 0), { rig }))).toEqual([]);
  });

  test("away from the Sun while the cover closes or sticks, and what another client does", () => {
    const closing = slew(20, 0, 30).with(1, moment(25, open, { coverOpen: 0.3, coverReported: 0.3 }));
    expect(uncoveredMoves(happened(closing))).toEqual([]);
    const told = moment(10, open, { coverTarget: 0 });
    expect(uncoveredMoves(happened([told, ...slew(20, 0, 30)]))).toEqual([]);
    expect(classes(uncoveredMoves(happened([told, ...slew(50, 0, 30)])))).toEqual(["uncovered move: far"]);
    const jam: Happened["struck"][number] = { name: "jam", blocks: ["cover"], beganMs: 15_000 };
    expect(uncoveredMoves(happened(slew(20, 0, 30), { struck: [jam] }))).toEqual([]);
    // Whoever puts the cap on is asked by an agent that runs, and not by its keeper.
    const rig = {
      driven: ["camera", "mount"],
      byHand: ["cover"],
      person: "obliging",
      silenceSecondsMax: 60,
      coverSeconds: 5,
    } as const;
    expect(classes(uncoveredMoves(happened(slew(20, 0, 30), { rig })))).toEqual(["uncovered move: far"]);
    const stands: Happened["struck"][number] = {
      name: "agent stands still",
      stopsAgent: true,
      beganMs: 15_000,
      endedMs: 90_000,
    };
    expect(uncoveredMoves(happened(slew(20, 0, 30), { rig, struck: [stands] }))).toEqual([]);
    const other: Happened["struck"][number] = { name: "other", foreign: ["mount"], beganMs: 20_000 };
    expect(uncoveredMoves(happened(slew(20, 40, 0), { struck: [other] }))).toEqual([]);
  });

  test("a cap of which somebody says that it is on: believed until a frame shows the Sun", () => {
    const rig = {
      driven: ["camera", "mount"],
      byHand: ["cover"],
      person: "lying",
      silenceSecondsMax: 60,
      coverSeconds: 5,
    } as const;
    const away = { ...open, sunSeparationDegrees: 40 };
    const from = (...before: Moment[]): Happened => ({
      ...happened([], { rig }),
      moments: [moment(0, away), ...before, ...slew(20, 40, 0)],
    });
    expect(uncoveredMoves(from())).toEqual([]);
    const frame = moment(10, open, { part: "camera", what: "frameReady" });
    expect(classes(uncoveredMoves(from(frame)))).toEqual(["uncovered move: to the Sun"]);
    const obliging = { ...from(), rig: { ...rig, person: "obliging" as const } };
    expect(classes(uncoveredMoves(obliging))).toEqual(["uncovered move: to the Sun"]);
  });

  test("back to the Sun after a retreat, or in restoring, jammed or not", () => {
    const lives: Life[] = [{ ...life, retreatMs: 15_000, restoreMs: 40_000 }];
    const jam: Happened["struck"][number] = { name: "jam", blocks: ["cover"], beganMs: 15_000 };
    const back = { lives, struck: [jam] };
    expect(uncoveredMoves(happened(slew(20, 0, 30), back))).toEqual([]);
    expect(classes(uncoveredMoves(happened(slew(50, 30, 0), back)))).toEqual([
      "uncovered move: to the Sun while putting back",
    ]);
    expect(classes(uncoveredMoves(happened(slew(50, 4, 0), back)))).toEqual([
      "uncovered move: back onto the Sun",
    ]);
  });
});

test("left open to the Sun at the end, unless it was found so", () => {
  expect(classes(leftExposed(happened([]), false))).toEqual(["left open to the Sun"]);
  expect(leftExposed(happened([]), true)).toEqual([]);
  expect(leftExposed(happened([moment(40, covered)]), false)).toEqual([]);
});

describe("what was said at the end", () => {
  const setting = (role: SettingRecord["role"], state: SettingRecord["state"]): SettingRecord => ({
    role,
    device: `Scene ${role}`,
    key: "position",
    before: 1,
    after: 0,
    state,
  });
  const ending = (change: Partial<Ending>): Ending => ({
    atMs: 0,
    purpose: "run",
    exitCode: 0,
    settings: [setting("cover", "same")],
    differences: [],
    unknowable: [],
    ...change,
  });

  test("all back, or all that is left reported with the right exit code", () => {
    const differences = [
      "cover.open was 1 and is 0",
      "Scene Mount (Alpaca).CONNECTION was false and is true",
    ];
    const settings = [setting("cover", "different"), setting("mount", "different")];
    expect(reportedAtEnd(ending({}))).toEqual([]);
    expect(reportedAtEnd(ending({ exitCode: 6, settings, differences }))).toEqual([]);
    const kept = {
      exitCode: 4,
      settings: [setting("cover", "keptSafe")],
      differences: differences.slice(0, 1),
    };
    expect(reportedAtEnd(ending(kept))).toEqual([]);
  });

  test("a difference that is not reported, the wrong code, a code that is in no list", () => {
    const differences = ["focuser.steps was 100 and is 90"];
    expect(classes(reportedAtEnd(ending({ differences })))).toEqual(["unreported focuser"]);
    expect(reportedAtEnd(ending({ differences, unknowable: ["focuser"] }))).toEqual([]);
    expect(reportedAtEnd(ending({ differences, unknowable: ["focuser.steps"] }))).toEqual([]);
    const ofOther = { differences, unknowable: ["focuser.moving"] };
    expect(classes(reportedAtEnd(ending(ofOther)))).toEqual(["unreported focuser"]);
    expect(classes(reportedAtEnd(ending({ exitCode: 6 })))).toEqual(["wrong exit code"]);
    expect(classes(reportedAtEnd(ending({ settings: [setting("cover", "different")] })))).toEqual([
      "wrong exit code",
    ]);
    expect(classes(reportedAtEnd(ending({ exitCode: 1 })))).toEqual(["fault of ours"]);
    expect(classes(reportedAtEnd(ending({ exitCode: 99 })))).toEqual(["wrong exit code"]);
  });

  test("which role a difference is about", () => {
    expect(roleOf("cover.open was 1 and is 0")).toBe("cover");
    expect(roleOf("Scene Camera.CCD_GAIN was 1 and is 2")).toBe("camera");
    expect(roleOf("Scene Wheel (Alpaca).CONNECTION was false and is true")).toBe("wheel");
    expect(roleOf("Scene Switches (Alpaca).CONNECTION was false and is true")).toBeUndefined();
  });
});

test("files that were listed and are missing, cut short or left half written", () => {
  const folder = mkdtempSync(join(tmpdir(), "evenfield-files-"));
  try {
    const whole = encodeFits([{ pixels: new Uint16Array(64), shape: [8, 8], cards: [] }], 0);
    writeFileSync(join(folder, "whole.fits"), whole);
    writeFileSync(join(folder, "short.fits"), whole.subarray(0, 4000));
    expect(brokenFiles(folder, ["whole.fits"])).toEqual([]);
    writeFileSync(join(folder, "dark.fits.part"), "");
    expect(brokenFiles(folder, ["whole.fits", "short.fits", "gone.fits"])).toEqual([
      "dark.fits.part was left half written",
      "short.fits: has 4000 bytes",
      "gone.fits: is not there",
    ]);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
});
