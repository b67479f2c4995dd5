import { join } from "node:path";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import { scaleScene } from "../../sim-devices/scene/spec/scale-scene.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { startSimulator } from "../../sim-devices/start-simulator.ts";
import { RehearsalStage } from "../rehearsal/rehearsal-stage.ts";
import { type DayRehearsed, type DaysRehearsed, rehearseDays } from "../rehearsal/rehearse-days.ts";
import { Ledger } from "../run/ledger/ledger.ts";
import { localDay, localInstant, localText } from "../service/schedule/local-day.ts";
import { type CommandHost, exitCodes, type Outcome } from "./outcome.ts";
import type { RehearsedRig } from "./rehearsed-rig.ts";
import { logOver } from "./run-log.ts";
import { makeFolderForRun } from "./run-records.ts";
import { loadSchedule, siteOfSchedule } from "./schedule-from-file.ts";

export interface RehearseScheduleOptions {
  readonly schedule: string;
  readonly days: number;
  readonly sensorWidth: number;
  /** For messages. */
  readonly rigPath: string;
  readonly runs: string;
  readonly ledger?: string;
  readonly log: string;
}

/**
 * `evenfield rehearse --schedule`: days of service of a simulated rig on a clock that jumps, with what the seed lets go wrong,
 * held against the world's own account. @throws CommandError when it could not even begin
 */
export async function rehearseSchedule(
  options: RehearseScheduleOptions,
  { rigFile, shown }: Pick<RehearsedRig, "rigFile" | "shown">,
  scene: SceneSpec,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const site = siteOfSchedule(rigFile, options.rigPath);
  const loaded = loadSchedule(options.schedule);
  const { schedule } = loaded.schedule;
  const startUtcMs = nextMidnightUtcMs(Date.parse(scene.startUtc), site.timeZone);
  const spec = {
    ...scaleScene(scene, options.sensorWidth),
    startUtc: new Date(startUtcMs).toISOString(),
  };
  const named = { utcMs: host.clock.nowMs(), rig: rigFile.rig, plan: `${schedule}-rehearsed` };
  const folder = makeFolderForRun(options.runs, named);
  using ledger = new Ledger(options.ledger ?? join(folder, "ledger.sqlite"));
  const clock = new VirtualClock(startUtcMs);
  await using simulator = await startSimulator({ spec, clock, shown });
  // What is only warned of in each of so many runs is read in their folders.
  const log = options.log === "warn" ? silentLog : logOver(host, options.log);
  const stage = new RehearsalStage({ rigFile, ledger, folder, log }, clock, simulator);
  const { widthPx, heightPx } = spec.camera;
  host.stderr(
    `${options.days} days of ${schedule} on ${rigFile.rig} from ${localText(startUtcMs, site.timeZone)}, seed ${spec.seed}, ${widthPx} x ${heightPx} pixels; no telescope is there.\n`,
  );
  const rehearsed = await rehearseDays(stage, {
    loaded,
    site,
    days: options.days,
    random: new Random(spec.seed).fork("troubles"),
    signal,
    onDay: (day) => host.stderr(`${dayText(day, site.timeZone)}\n`),
  });
  return outcomeOfDays(rehearsed, { schedule, rigFile, seed: spec.seed, folder });
}

/** The days of a schedule are those of its clock. */
function nextMidnightUtcMs(utcMs: number, timeZone: string): number {
  return localInstant(localDay(utcMs, timeZone).add({ days: 1 }), "00:00", timeZone);
}

function dayText({ day, beganUtcMs, attempts, troubles }: DayRehearsed, zone: string): string {
  const date = localText(beganUtcMs, zone).slice(0, 10);
  const done = attempts.map(({ entry, ended }) => `${entry} ${ended ?? "under way"}`).join(", ");
  return `day ${day}, ${date}: ${done || "nothing was due"}; went wrong: ${troubles.join(", ") || "nothing"}`;
}

function outcomeOfDays(
  rehearsed: DaysRehearsed,
  about: {
    readonly schedule: string;
    readonly rigFile: RigFile;
    readonly seed: number;
    readonly folder: string;
  },
): Outcome {
  const { attempts, forgotten, unsafe, lostFrames, imagesKept, kills, restarts, holds, slope } = rehearsed;
  const isGood = forgotten.length + unsafe.length + lostFrames.length === 0;
  const { schedule, rigFile, seed, folder } = about;
  const endings = Object.entries(Object.groupBy(attempts, ({ ended }) => ended ?? "under way")).map(
    ([ended, group]) => [ended, group.length] as const,
  );
  const result = {
    schedule,
    rig: rigFile.rig,
    seed,
    days: rehearsed.days,
    fromUtc: iso(rehearsed.fromUtcMs),
    folder,
    attempts: attempts.map(({ entry, occasion, ended, because, exitCode }) => ({
      entry,
      occasion,
      ended: ended ?? null,
      exitCode: exitCode ?? null,
      because: because ?? null,
    })),
    forgotten,
    unsafe: unsafe.map(({ atMs, checker, what }) => ({ utc: iso(atMs), checker, what })),
    lostFrames,
    imagesKept,
    kills,
    restarts,
    holds: holds.map(({ fromUtcMs, untilUtcMs, because }) => ({
      fromUtc: iso(fromUtcMs),
      untilUtc: iso(untilUtcMs),
      because,
    })),
    slope: slope ?? null,
    samples: rehearsed.samples,
  };
  const lines = [
    `${rehearsed.days} days of ${schedule} on ${rigFile.rig}, seed ${seed}: restarted in good order ${restarts} times, killed ${kills} times.`,
    `  attempts               ${attempts.length}: ${endings.map(([ended, count]) => `${count} ${ended}`).join(", ")}`,
    ...part("due without a word", forgotten),
    ...part(
      "unsafe moments",
      unsafe.map(({ atMs, what }) => `${iso(atMs)} ${what}`),
    ),
    ...part("images lost", lostFrames, ` of ${imagesKept}`),
    ...part(
      "held for a person",
      holds.map(
        ({ fromUtcMs, untilUtcMs, because }) =>
          `${iso(fromUtcMs)} for ${((untilUtcMs - fromUtcMs) / 3_600_000).toFixed(1)} h: ${because}`,
      ),
    ),
    `  memory and handles     ${slopeText(rehearsed)}`,
    `What was written is in ${folder}`,
  ];
  return { exitCode: isGood ? exitCodes.done : exitCodes.verdictBad, result, text: lines.join("\n") };
}

function part(name: string, list: readonly string[], of = ""): string[] {
  return [`  ${name.padEnd(22)} ${list.length}${of}`, ...list.map((line) => `    ${line}`)];
}

/** Of this process, simulated rig and all. */
function slopeText({ slope }: DaysRehearsed): string {
  if (!slope) return "not judged: fewer than three days";
  const { days, memoryMegabytes, memoryMegabytesADay, handles, handlesADay } = slope;
  const ends = (pair: readonly [number, number]) => `${pair[0].toFixed(0)} to ${pair[1].toFixed(0)}`;
  const memory = `${ends(memoryMegabytes)} MB, ${memoryMegabytesADay.toFixed(2)} MB a day`;
  const open = handles
    ? `${ends(handles)} handles, ${handlesADay!.toFixed(2)} a day`
    : "handles not counted: this system does not tell";
  return `${memory}; ${open}; by days ${days[0]} to ${days[1]}, of the simulated rig and the service together`;
}

function iso(utcMs: number): string {
  return `${new Date(utcMs).toISOString().slice(0, 19)}Z`;
}
