import { existsSync } from "node:fs";
import { join, resolve } from "node:path";
import type { Command } from "commander";
import { findOwnFile } from "../../drivers/kit/place.ts";
import { Random } from "../../drivers/kit/random.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import type { Plan } from "../../plans/plan-file.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import { obligingPerson } from "../../sim-devices/scene/obliging-person.ts";
import { trueDisc } from "../../sim-devices/scene/optics/image-geometry.ts";
import { accountDifferences } from "../../sim-devices/scene/world-account.ts";
import { type Simulator, startSimulator } from "../../sim-devices/start-simulator.ts";
import { BeatenKeeper } from "../keeper/beat-keeper.ts";
import { keeperInMemory } from "../keeper/keeper-in-memory.ts";
import { terminalProgress } from "../outputs/terminal-progress.ts";
import { writeReport } from "../outputs/write-report.ts";
import { type ConnectRig, type ConnectTools, connectRigFile } from "../run/checks/connect-rig-file.ts";
import type { AskPerson } from "../run/checks/hand-cover.ts";
import type { RigKeeper } from "../run/guard/rig-keeper.ts";
import { Ledger } from "../run/ledger/ledger.ts";
import { runPlan } from "../run/machine/run-plan.ts";
import type { RunReport } from "../run/record/run-record.ts";
import { ledgerFileDefault } from "./ledger-place.ts";
import { numberOption } from "./number-option.ts";
import { addCommand, type CommandHost, conclude, type Outcome, processHost, wrongInput } from "./outcome.ts";
import { rehearseSchedule } from "./rehearse-schedule.ts";
import { rehearseRigFile } from "./rehearsed-rig.ts";
import { type RehearsedScene, sceneForRig } from "./rehearsed-scene.ts";
import { planFromFile, rigFromFile } from "./rig-from-file.ts";
import { runOutcome } from "./run.ts";
import { logOption, logOver } from "./run-log.ts";
import { makeFolderForRun } from "./run-records.ts";
import { sceneFromFile, sceneOption, seedOption, speedOf } from "./scene-from-file.ts";
import { stopWordsOfRun } from "./stop-signals.ts";
import { compareWithTruth, type TruthComparison } from "./truth-rows.ts";

export interface RehearseOptions {
  readonly rig?: string;
  readonly scene?: string;
  /** Of rehearsals alone; left out, nothing is remembered. */
  readonly ledger?: string;
  readonly runs: string;
  readonly speed?: number;
  readonly seed?: number;
  readonly log: string;
}

/** Of a schedule's rehearsal. */
interface ScheduleChoice {
  readonly schedule?: string;
  readonly days: number;
  readonly sensorWidth: number;
}

const demoRigFile = Bun.fileURLToPath(findOwnFile("plans/demo-rig.yaml"));

/**
 * `evenfield rehearse`: a plan against simulated devices, over INDI bytes or Alpaca requests in memory as the rig file
 * has it, on a clock that jumps from one event to the next, then held against the scene's true values.
 * @throws CommandError when it could not even begin
 */
export async function rehearse(
  planPath: string,
  options: RehearseOptions,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const plan = planFromFile(planPath);
  const ownRigFile = rigFromFile(options.rig ?? demoRigFile);
  const scene = sceneOf(options, ownRigFile, plan, host.clock.nowMs());
  const { spec } = scene;
  const { rigFile, shown, notes } = rehearseRigFile(scene.rigFile);
  checkLedgerIsOwn(options.ledger);
  const clock = new VirtualClock(Date.parse(spec.startUtc));
  const named = { utcMs: host.clock.nowMs(), rig: rigFile.rig, plan: `${plan.plan}-rehearsed` };
  const folder = makeFolderForRun(options.runs, named);
  const line = terminalProgress(host);
  const simulator = await startSimulator({ spec, clock, shown });
  const isByHand = Object.values(rigFile.devices).some((entry) => entry !== undefined && "by" in entry);
  try {
    if (scene.notes.length > 0)
      line.say(`Not in the rig file, and so of the simulation's own: ${scene.notes.join("; ")}.`);
    for (const note of notes) line.say(`Not rehearsed: ${note}.`);
    // What a simulated rig taught must not pass for history: it is forgotten, or has a ledger to itself.
    using ledger = new Ledger(options.ledger ?? ":memory:");
    const before = simulator.world.account();
    const centring = new CentringWatch(
      simulator,
      plan.steps.findIndex((step) => step.step === "centre"),
    );
    let comparison: TruthComparison | undefined;
    const log = logOver(host, options.log);
    const random = new Random(spec.seed);
    const links = { openers: () => simulator.openIndi, exchanges: simulator.openAlpaca };
    const rehearsal = `Rehearsal on a simulated rig, seed ${spec.seed}: no telescope was there, and nothing here is of the sky.`;
    const work = runPlan({
      plan,
      rigFile,
      ...links,
      clock,
      random,
      log,
      keepers: [keeperOfRehearsal(rigFile, { ...links, clock, random: random.fork("keeper"), log })],
      folder,
      fileNote: rehearsal,
      ledger,
      signal,
      ...(isByHand ? { unattended: false, askPerson: personInWords(simulator, line) } : { unattended: true }),
      warn: (text) => line.say(text),
      progress: (now) => {
        centring.look(now.stepIndex);
        line.update(now);
      },
      writeOutputs: (record) => {
        comparison = compareWithTruth(masterFileIn(folder), {
          ...simulator.painter.truth(),
          centring: centring.seen,
          differences: accountDifferences(before, simulator.world.account()),
        });
        return writeReport(record, { folder, truth: comparison.rows, rehearsal });
      },
    });
    const report = await clock.drive(work, options.speed === undefined ? {} : { speed: options.speed });
    return outcomeWithTruth(report, comparison);
  } finally {
    line.end();
    await simulator.close();
  }
}

/** The days of a schedule instead of one plan. @throws CommandError when they could not even begin */
async function rehearseDaysOf(
  schedule: string,
  options: RehearseOptions & ScheduleChoice,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const rigPath = options.rig ?? demoRigFile;
  const ownRigFile = rigFromFile(rigPath);
  const { sunAltitudeDegreesMin: altitudeDegreesMin } = ownRigFile.limits;
  const scene = sceneOf(options, ownRigFile, { sun: { altitudeDegreesMin } }, host.clock.nowMs());
  const { rigFile, shown, notes } = rehearseRigFile(scene.rigFile);
  checkLedgerIsOwn(options.ledger);
  for (const note of notes) host.stderr(`Not rehearsed: ${note}.\n`);
  const tools = { rigFile, shown };
  return await rehearseSchedule({ ...options, schedule, rigPath }, tools, scene.spec, host, signal);
}

/** @throws CommandError unless either a plan or a schedule is named */
function rehearseEither(
  plan: string | undefined,
  options: RehearseOptions & ScheduleChoice,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const { schedule } = options;
  if (plan !== undefined && schedule === undefined) return rehearse(plan, options, host, signal);
  if (plan === undefined && schedule !== undefined) return rehearseDaysOf(schedule, options, host, signal);
  throw wrongInput(
    "Nothing was started.",
    plan === undefined ? "Neither a plan nor a schedule is named." : "A plan and a schedule are both named.",
    "Name a plan, or a schedule by --schedule.",
  );
}

function checkLedgerIsOwn(ledger: string | undefined): void {
  if (ledger === undefined || resolve(ledger) !== resolve(ledgerFileDefault())) return;
  throw wrongInput(
    "Nothing was started.",
    `${ledger} is the ledger of real runs; what a simulated rig taught must not stand in it.`,
    "Name a file of its own: --ledger rehearsals.sqlite",
  );
}

/** The scene that is named; else that of the demo, moved to the rig's site and behind its optics. */
function sceneOf(
  options: RehearseOptions,
  rigFile: RigFile,
  { sun }: Pick<Plan, "sun">,
  nowUtcMs: number,
): RehearsedScene {
  const named = sceneFromFile(options);
  if (options.scene !== undefined || options.rig === undefined) return { spec: named, rigFile, notes: [] };
  const altitudeDegreesMin = Math.max(sun.altitudeDegreesMin, rigFile.limits.sunAltitudeDegreesMin);
  return sceneForRig(rigFile, { altitudeDegreesMin }, named, nowUtcMs);
}

/** Does what is asked, and says so: on the real rig the question is put to whoever is at the terminal. */
function personInWords({ world }: Simulator, line: { say(text: string): void }): AskPerson {
  const oblige = obligingPerson(world);
  return async (question, signal) => {
    const answer = await oblige(question, signal);
    line.say(`${question} ${answer} (by the simulated person)`);
    return answer;
  };
}

function keeperOfRehearsal(rigFile: RigFile, tools: ConnectTools): RigKeeper {
  const { clock, log } = tools;
  const connect: ConnectRig = (signal, found, purpose) =>
    connectRigFile(rigFile, { ...tools, found, purpose }, signal);
  const open = keeperInMemory({ rigFile, connect, clock, log, lock: async () => new DisposableStack() });
  return new BeatenKeeper({ name: "the keeper", rig: rigFile.rig, open, clock, log });
}

/** Where the disc truly is when the work goes on from centring. */
class CentringWatch {
  seen: { offsetPx: number; diameterPx: number } | undefined;
  constructor(
    readonly simulator: Simulator,
    readonly centreStepIndex: number,
  ) {}

  look(stepIndex: number): void {
    if (this.seen || this.centreStepIndex < 0 || stepIndex <= this.centreStepIndex) return;
    const { spec } = this.simulator.world;
    const disc = trueDisc(spec, {
      ...this.simulator.world.lightPathNow(),
      smearEastArcsec: 0,
      smearNorthArcsec: 0,
    });
    const middleXPx = (spec.camera.widthPx - 1) / 2;
    const middleYPx = (spec.camera.heightPx - 1) / 2;
    this.seen = {
      offsetPx: Math.hypot(disc.xPx - middleXPx, disc.yPx - middleYPx),
      diameterPx: 2 * disc.radiusPx,
    };
  }
}

function masterFileIn(folder: string): string | undefined {
  const file = join(folder, "flat-master.fits");
  return existsSync(file) ? file : undefined;
}

function outcomeWithTruth(report: RunReport, comparison: TruthComparison | undefined): Outcome {
  const plain = runOutcome(report);
  if (!comparison) return plain;
  const width = Math.max(...comparison.rows.map(([name]) => name.length));
  const lines = comparison.rows.map(
    ([name, value, judgement]) => `  ${name.padEnd(width)}  ${value}; ${judgement}`,
  );
  return {
    exitCode: plain.exitCode,
    result: {
      ...plain.result,
      truth: {
        flat: comparison.flat,
        centringFraction: comparison.centringFraction,
        differences: comparison.differences,
      },
    },
    text: ["Against the simulated rig's true values:", ...lines, plain.text].join("\n"),
  };
}

const isWholeWithin = (least: number, most: number) => (value: number) =>
  Number.isInteger(value) && value >= least && value <= most;
const daysOf = numberOption("a whole number from 1 to 400", isWholeWithin(1, 400));
const sensorWidthOf = numberOption("a whole number of pixels from 96 to 2048", isWholeWithin(96, 2048));

export function registerRehearse(program: Command, host: CommandHost = processHost): void {
  addCommand(program, "rehearse", "evenfield rehearse plans/first-flat.yaml")
    .argument("[plan]", "the plan file")
    .option(
      "--schedule <file>",
      "instead of a plan: days of service by this schedule, with weather and failures",
    )
    .option("--days <number>", "of the schedule", daysOf, 30)
    .option(
      "--sensor-width <px>",
      "of the schedule's simulated camera; its field stays the same",
      sensorWidthOf,
      96,
    )
    .option("--rig <file>", "the rig file; left out, that of the demo")
    .addOption(sceneOption())
    .option(
      "--ledger <file>",
      "a ledger of rehearsals, for days that follow each other; left out, nothing is remembered",
    )
    .option("--speed <times>", "at most so many times faster than real time", speedOf)
    .addOption(seedOption())
    .option("--runs <folder>", "where the run's own folder is made", "runs")
    .addOption(logOption())
    .action((plan: string | undefined, options: RehearseOptions & ScheduleChoice & { json?: boolean }) =>
      conclude(
        host,
        { command: "rehearse", json: options.json },
        (signal) => rehearseEither(plan, options, host, signal),
        stopWordsOfRun,
      ),
    );
}
