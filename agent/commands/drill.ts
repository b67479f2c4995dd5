import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import type { Command } from "commander";
import { parse, stringify } from "yaml";
import { silentLog } from "../../drivers/kit/log.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import { type LinkRelay, openLinkRelay } from "../drill/link-relay.ts";
import { type PartPlayed, playPart } from "../drill/play-part.ts";
import { connectRigFile } from "../run/checks/connect-rig-file.ts";
import { filterProblem } from "../run/guard/sun-filter.ts";
import { type DrillPart, drillParts, saveDrill } from "../run/ledger/drills.ts";
import { Ledger } from "../run/ledger/ledger.ts";
import { cautionText } from "../safing/caution.ts";
import { ledgerFileDefault } from "./ledger-place.ts";
import {
  addCommand,
  CommandError,
  type CommandHost,
  conclude,
  exitCodes,
  hostOfRig,
  type Outcome,
  wrongInput,
} from "./outcome.ts";
import { askBeforeMoving } from "./person-at-rig.ts";
import { rigFromFile } from "./rig-from-file.ts";
import { type RigWiring, wireRig } from "./rig-wiring.ts";
import { takeRig } from "./run-records.ts";
import { stopWordsOfRun } from "./stop-signals.ts";

export interface DrillOptions {
  readonly rig: string;
  readonly ledger: string;
  readonly runs: string;
  /** Who stands at the telescope. */
  readonly present: string;
}

const nothingMoved = "Nothing on the rig was touched.";
/** The link stays cut for so much longer than the rig file lets a device be silent [s]. */
const cutMarginSeconds = 30;

/** Opens the telescope to the Sun and keeps it open until it is stopped. */
const planText = `plan: drill
steps:
  - centre
  - images: { frames: 10000, everySeconds: 5, forMinutes: 30 }
`;

/**
 * `evenfield drill`: with a person at the telescope, ends runs of this rig as no run should end, and sees whether the telescope
 * is covered and the rig put back. Each part is signed off in the ledger. @throws CommandError when it could not even begin
 */
export async function drill(options: DrillOptions, wiring: RigWiring, host: CommandHost): Promise<Outcome> {
  const rigFile = rigFromFile(options.rig);
  const { rig } = rigFile;
  const { clock } = host;
  await checkLeave(options, rigFile, wiring, host);
  (await takeRig(options.ledger, rigFile, { ...wiring, clock }))[Symbol.dispose](); // nobody else works with it
  const folder = mkdtempSync(join(tmpdir(), "evenfield-drill-"));
  try {
    await using relays = await relayServers(options.rig, folder);
    await using watched = await connectRigFile(
      onlyCover(rigFile),
      { ...wiring, clock, log: silentLog }, // that others command the cover is what is looked for
      wiring.signal,
    );
    const cover = watched.rig.cover!;
    const plan = join(folder, "plan.yaml");
    writeFileSync(plan, planText);
    const files = ["--ledger", resolve(options.ledger), "--runs", resolve(options.runs)];
    const tools = {
      clock,
      signal: wiring.signal,
      cover,
      relays: relays.all,
      cutSeconds: rigFile.limits.silenceSecondsMax + cutMarginSeconds,
      runArguments: (throughRelays: boolean) => {
        const file = throughRelays ? relays.rigFile : resolve(options.rig);
        return ["run", plan, "--rig", file, ...files, "--unattended"];
      },
      restoreArguments: ["restore", "--rig", resolve(options.rig), ...files],
      say: (text: string) => host.stderr(`${text}\n`),
    };
    const played: [DrillPart, PartPlayed][] = [];
    using ledger = new Ledger(options.ledger);
    for (const part of drillParts) {
      const { passed, leftOpen, text } = await playPart(part, tools);
      host.stderr(`${part}: ${passed ? "passed" : "failed"}; ${text}.\n`);
      saveDrill(ledger, rig, { utcMs: clock.nowMs(), part, passed, text, present: options.present });
      played.push([part, { passed, leftOpen, text }]);
      if (leftOpen || !passed) break; // nothing more is tried on a rig that did not stand this
    }
    return outcomeOf(rig, options.present, played);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** @throws CommandError unless it may be done on this rig, and the person at it says yes */
async function checkLeave(
  { present }: DrillOptions,
  rigFile: RigFile,
  { askPerson, signal }: RigWiring,
  host: CommandHost,
): Promise<void> {
  const { cover } = rigFile.devices;
  if (!cover || !("server" in cover))
    throw wrongInput(
      nothingMoved,
      `${rigFile.rig} has no cover that closes by itself: a drill has nothing to prove.`,
      "Cover the telescope by hand whenever a run ends otherwise than it should.",
    );
  const doubt = filterProblem(rigFile.sunFilter, host.clock.nowMs());
  if (doubt !== undefined)
    throw new CommandError(exitCodes.safety, {
      happened: `Refused: ${doubt}.`,
      state: nothingMoved,
      whatToDo: `Inspect the filter, then write the day into \`lastConfirmed\` of the rig file. ${cautionText}`,
    });
  host.stderr(
    `The telescope will be opened to the Sun three times, and each time what drives it is taken away. ${cautionText} ` +
      "Stay beside it, and close the cover by hand if it does not close by itself within some minutes.\n",
  );
  if (!askPerson) return; // the name was given where nobody can be asked
  const question = `Is ${present} at the telescope, its Sun filter inspected and on, ready to cover it by hand?`;
  if ((await askPerson(question, signal)) === "yes") return await askBeforeMoving(askPerson, signal);
  throw new CommandError(exitCodes.stopped, {
    happened: "Not begun: the answer was no.",
    state: nothingMoved,
    whatToDo: "Give the command again when somebody is there.",
  });
}

function onlyCover(rigFile: RigFile): RigFile {
  const devices = { cover: rigFile.devices.cover } as unknown as RigFile["devices"]; // the run has the others
  return { ...rigFile, devices };
}

/** The rig file anew, with every server reached through a relay of ours. */
async function relayServers(rigPath: string, folder: string) {
  const file = parse(readFileSync(rigPath, "utf8")) as {
    servers: Record<string, Record<string, { host?: string; port?: number }>>;
  };
  const known = rigFromFile(rigPath).servers;
  const all: LinkRelay[] = [];
  for (const [name, server] of Object.entries(known))
    for (const [protocol, { host, port }] of Object.entries(server) as [
      string,
      { host: string; port: number },
    ][]) {
      const relay = await openLinkRelay({ host, port });
      all.push(relay);
      file.servers[name]![protocol] = {
        ...file.servers[name]![protocol],
        host: "127.0.0.1",
        port: relay.port,
      };
    }
  const rigFile = join(folder, "rig.yaml");
  writeFileSync(rigFile, stringify(file));
  return {
    all,
    rigFile,
    [Symbol.asyncDispose]: async () => {
      for (const relay of all) await relay[Symbol.asyncDispose]();
    },
  };
}

function outcomeOf(
  rig: string,
  present: string,
  played: readonly (readonly [DrillPart, PartPlayed])[],
): Outcome {
  const isPassed = played.length === drillParts.length && played.every(([, { passed }]) => passed);
  const isOpen = played.some(([, { leftOpen }]) => leftOpen);
  const lines = played.map(
    ([part, { passed, text }]) => `  ${part}: ${passed ? "passed" : "failed"}; ${text}`,
  );
  const missing = drillParts.slice(played.length).map((part) => `  ${part}: not made`);
  const end = isOpen
    ? "THE COVER DOES NOT READ CLOSED. Keep away from the eyepiece and the finder, cover the telescope by hand, then run `evenfield restore --rig RIG`."
    : isPassed
      ? `Signed off in the ledger with ${present} at the telescope.`
      : "Written into the ledger. Do not leave this rig alone before it has passed.";
  return {
    exitCode: isPassed ? exitCodes.done : isOpen ? exitCodes.notRestored : exitCodes.verdictBad,
    result: {
      rig,
      present,
      passed: isPassed,
      parts: played.map(([part, { passed, text }]) => ({ part, passed, text })),
    },
    text: [`${rig}: the drill was ${isPassed ? "passed" : "not passed"}.`, ...lines, ...missing, end].join(
      "\n",
    ),
  };
}

export function registerDrill(program: Command, host: CommandHost = hostOfRig()): void {
  addCommand(program, "drill", 'evenfield drill --rig my-rig.yaml --present "S. Example"')
    .requiredOption("--rig <file>", "the rig file")
    .requiredOption("--present <name>", "who stands at the telescope, can cover it by hand, and signs for it")
    .option("--runs <folder>", "where the runs' own folders are made", "runs")
    .option("--ledger <file>", "the ledger of runs and baselines", ledgerFileDefault())
    .action((options: DrillOptions & { json?: boolean }) =>
      conclude(
        host,
        { command: "drill", json: options.json },
        (signal) => drill(options, wireRig(host, signal, "warn"), host),
        stopWordsOfRun,
      ),
    );
}
