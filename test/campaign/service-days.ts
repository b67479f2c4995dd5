import { mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { brokenFiles } from "../../agent/rehearsal/checkers/files-whole.ts";
import { serversRestart } from "../../agent/rehearsal/faults/wire-faults.ts";
import { ScheduleRecord } from "../../agent/service/record/attempt-rows.ts";
import type { Attempt } from "../../agent/service/schedule/attempts.ts";
import { findOccasions } from "../../agent/service/schedule/occasions.ts";
import { Random } from "../../drivers/kit/random.ts";
import { readSchedule } from "../../plans/schedule-file.ts";
import { type StageFiles, serveOnStage } from "../runs/serve-on-stage.ts";
import {
  agentKilled,
  at,
  checkWorld,
  type Finding,
  openStage,
  type ScriptedFault,
  type Stage,
  tinyScene,
  worldFaults,
} from "../stage/stage.ts";

const dayMs = 86_400_000;
const beginsUtc = "2026-06-01T03:00:00Z";

const plan = `plan: flat-and-images
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check: { frames: 4 }
  - flat: { blur: diffuser, frames: 12, proveLight: false, onlyWhenNoneFits: true }
  - images: { frames: 4 }
`;

const scheduleText = `schedule: days
entries:
  - entry: morning
    plan: plan.yaml
    when: { sunRisesPastDegrees: 30 }
    lateMinutesMax: 120
    again: { timesMost: 3, afterMinutes: 20 }
  - entry: after-noon
    plan: plan.yaml
    when: { minutesFromTransit: 60 }
    lateMinutesMax: 90
    again: { timesMost: 2, afterMinutes: 15 }
  - entry: evening
    plan: plan.yaml
    when: { afterEntry: after-noon, minutesLater: 60 }
`;

export interface ServiceDays {
  readonly days: number;
  readonly attempts: readonly Attempt[];
  /** Due by the Sun and the calendar, and no word of them in the ledger. */
  readonly forgotten: readonly string[];
  readonly unsafe: readonly Finding[];
  /** Frames that a run says it kept, and what is wrong with them. */
  readonly lostFrames: readonly string[];
  readonly framesKept: number;
  readonly kills: number;
  readonly restarts: number;
}

/** Days on which it clouds over, rains, servers go and power fails, and every night the service is started anew; all from the seed. */
export async function run({
  seed,
  days,
  print,
}: {
  seed: number;
  days: number;
  print: (line: string) => void;
}): Promise<ServiceDays> {
  const random = new Random(seed);
  const folder = mkdtempSync(join(tmpdir(), "evenfield-days-"));
  const cpu = process.cpuUsage();
  try {
    await using stage = await openStage({ scene: tinyScene, seed, startUtc: beginsUtc, folder });
    const files: StageFiles = { schedule: scheduleText, rigFile: stage.rigFile };
    const unsafe: Finding[] = [];
    let [kills, restarts, lookedMs] = [0, 0, stage.clock.nowMs()];
    for (let day = 0; day < days; day++) {
      const endMs = Date.parse(beginsUtc) + (day + 1) * dayMs;
      while (stage.clock.nowMs() < endMs) {
        const hours = (endMs - stage.clock.nowMs()) / 3_600_000;
        const drawn = drawDay(random, hours, dueSeconds(stage, endMs));
        const served = await serveOnStage(stage, files, {
          hours: drawn.untilHours,
          faults: drawn.faults,
          plan,
        });
        const held = served.statuses.findLast(({ state }) => state === "held" || state === "recovering");
        if (held) print(`  ${held.state}: ${held.because}`);
        if (served.runs === undefined) kills++;
        else restarts++;
        // What a killed process leaves as it is, the next one puts back.
        const isMeant = ({ checker }: Finding) => checker === "leftAtEnd" && served.runs === undefined;
        unsafe.push(...checkWorld(stage.world).filter((one) => one.atMs >= lookedMs && !isMeant(one)));
        lookedMs = stage.clock.nowMs();
        if (drawn.darkMinutes > 0) await stage.clock.drive(stage.clock.sleep(drawn.darkMinutes * 60));
      }
      print(`day ${day + 1}: ${summaryOfDay(stage, endMs - dayMs)}; ${memoryText(cpu)}`);
    }
    const attempts = new ScheduleRecord(stage.ledger, stage.rigFile.rig).attempts(0);
    for (const { entry, occasion, ended, because } of attempts)
      if (ended !== "done") print(`  ${entry} of ${occasion}: ${ended}; ${because ?? "no reason"}`);
    const frames = framesOf(folder);
    return {
      days,
      attempts,
      forgotten: forgottenOf(stage, attempts, days),
      unsafe,
      lostFrames: frames.lost,
      framesKept: frames.kept,
      kills,
      restarts,
    };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

interface DrawnDay {
  readonly faults: readonly ScriptedFault[];
  /** Of this process; the service is ended in order then, unless it was killed before. */
  readonly untilHours: number;
  readonly darkMinutes: number;
}

/** @param dues when entries are due [s from now]: troubles come there more often than by chance */
function drawDay(random: Random, hoursLeft: number, dues: readonly number[]): DrawnDay {
  const lastSeconds = hoursLeft * 3600 - 60;
  const near = () => dues[random.whole(0, dues.length - 1)]! + random.between(-300, 1500);
  const anywhere = () =>
    Math.min(
      lastSeconds,
      Math.max(0, dues.length > 0 && random.uniform() < 0.6 ? near() : random.between(0, lastSeconds)),
    );
  const faults: ScriptedFault[] = [];
  for (const [chance, fault, seconds] of [
    [0.6, worldFaults.cloud(random.between(0.05, 0.5)), random.between(120, 5400)],
    [0.3, worldFaults.rain(random.between(0.5, 8)), random.between(300, 7200)],
    [0.2, worldFaults.wind(random.between(14, 25)), random.between(300, 3600)],
  ] as const)
    if (random.uniform() < chance) {
      const from = anywhere();
      // Over before the day is: each gives back the weather that it found.
      faults.push(at(from).for(Math.min(seconds, lastSeconds + 30 - from), fault));
    }
  if (random.uniform() < 0.2) faults.push(at(anywhere()).begins(serversRestart(random.between(5, 120))));
  if (dues.length === 0 || random.uniform() > 0.4) return { faults, untilHours: hoursLeft, darkMinutes: 0 };
  // Where it hurts: while a run is under way, which takes a few minutes.
  const killSeconds = Math.min(lastSeconds, dues[random.whole(0, dues.length - 1)]! + random.between(5, 500));
  const ends = faults.filter(({ afterSeconds, forSeconds = 0 }) => afterSeconds + forSeconds < killSeconds);
  return {
    faults: [...ends, at(killSeconds).begins(agentKilled())],
    untilHours: hoursLeft,
    darkMinutes: random.between(1, 45),
  };
}

function occasionsWithin(stage: Stage, fromUtcMs: number, toUtcMs: number) {
  const { entries } = readSchedule(scheduleText, "days.yaml");
  const { site } = stage.rigFile;
  return findOccasions(entries, { ...site, timeZone: site.timeZone! }, { fromUtcMs, toUtcMs }).occasions;
}

function dueSeconds(stage: Stage, toUtcMs: number): number[] {
  const nowUtcMs = stage.clock.nowMs();
  return occasionsWithin(stage, nowUtcMs, toUtcMs).map(({ dueUtcMs }) => (dueUtcMs - nowUtcMs) / 1000);
}

function forgottenOf(stage: Stage, attempts: readonly Attempt[], days: number): string[] {
  const fromUtcMs = Date.parse(beginsUtc);
  return occasionsWithin(stage, fromUtcMs, fromUtcMs + days * dayMs)
    .filter(
      ({ entry, occasion }) =>
        !attempts.some(
          (one) =>
            one.entry === entry &&
            one.occasion === occasion &&
            one.endedUtcMs !== undefined &&
            (one.ended === "done" || one.because !== undefined),
        ),
    )
    .map(({ entry, occasion }) => `${entry} of ${occasion}`);
}

/** Every image that is there is whole, and in each run they are numbered without a gap. */
function framesOf(folder: string): { kept: number; lost: string[] } {
  const lost: string[] = [];
  let kept = 0;
  for (const run of readdirSync(join(folder, "runs"))) {
    const place = join(folder, "runs", run);
    const images = readdirSync(place, { recursive: true, encoding: "utf8" })
      .filter((name) => /image-\d+\.fits$/.test(name))
      .toSorted();
    kept += images.length;
    lost.push(...brokenFiles(place, images).map((what) => `${run}: ${what}`));
    images.forEach((name, index) => {
      if (!name.endsWith(`image-${String(index + 1).padStart(4, "0")}.fits`))
        lost.push(`${run}: before ${name}`);
    });
  }
  return { kept, lost };
}

function summaryOfDay(stage: Stage, sinceUtcMs: number): string {
  const attempts = new ScheduleRecord(stage.ledger, stage.rigFile.rig).attempts(sinceUtcMs);
  return attempts.map(({ entry, ended }) => `${entry} ${ended}`).join(", ") || "nothing";
}

function memoryText(since: NodeJS.CpuUsage): string {
  const { user, system } = process.cpuUsage(since);
  const handles = readdirSync("/proc/self/fd").length;
  return `${(process.memoryUsage.rss() / 1e6).toFixed(0)} MB, ${handles} handles, ${((user + system) / 1e6).toFixed(0)} s of processor`;
}
