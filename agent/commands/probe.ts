import type { Command } from "commander";
import { type ConnectOptions, connectRig, RigNotConnectedError } from "../../drivers/connect.ts";
import { type DeviceDescription, describeRig } from "../../drivers/describe-rig.ts";
import type { Clock } from "../../drivers/kit/clock.ts";
import { given } from "../../drivers/kit/given.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { findOwnFile } from "../../drivers/kit/place.ts";
import { oneLine } from "../../drivers/kit/plain-text.ts";
import { Random } from "../../drivers/kit/random.ts";
import type { RoleName } from "../../drivers/roles/roles.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import { checkMountBelief } from "../run/checks/mount-belief.ts";
import { viewColour } from "../run/checks/view-colour.ts";
import { listeningKeepers } from "./keepers-of-run.ts";
import { ledgerFileDefault } from "./ledger-place.ts";
import {
  addCommand,
  CommandError,
  type CommandHost,
  conclude,
  exitCodes,
  type Outcome,
  processHost,
} from "./outcome.ts";
import { checkPlansToday, describeToday } from "./plans-today.ts";
import { planFromFile, rigFromFile } from "./rig-from-file.ts";
import { openTcp } from "./rig-wiring.ts";

export interface ProbeOptions {
  readonly rig: string;
  readonly runs: string;
  readonly ledger: string;
  /** Plan files; left out, those that are shipped. */
  readonly plans?: readonly string[];
  /** How a server is reached; TCP unless a test says otherwise. */
  readonly openers?: ConnectOptions["openers"];
  readonly exchanges?: ConnectOptions["exchanges"];
}

/** What no plan asks for by name, and what is lost where it is missing. */
const wanted: readonly (readonly [role: RoleName, without: string])[] = [
  ["cover", "slews to the Sun go uncovered"],
  ["weather", "nothing tells the guard of rain or cloud"],
];

const words = {
  first: "Stopping: what was connected is disconnected again.",
  again: "Still disconnecting; please wait.",
  state: "Nothing on the rig was changed; what did open was closed again.",
};

/**
 * `evenfield probe`: connects, says what each device can do and which plans a run would begin now, leaves everything as it
 * was. @throws CommandError
 */
export async function probe(options: ProbeOptions, host: CommandHost, signal: AbortSignal): Promise<Outcome> {
  const rigFile = rigFromFile(options.rig);
  const plans = (options.plans ?? shippedPlans).map((file) => ({ file, plan: planFromFile(file) }));
  try {
    await using opened = await connectRig(
      rigFile,
      {
        clock: host.clock,
        log: silentLog,
        random: new Random(1),
        openers: options.openers ?? openTcp,
        ...given({ exchanges: options.exchanges }),
      },
      signal,
    );
    const rig = { ...opened.rig, camera: viewColour(opened.rig.camera, rigFile) };
    const devices = describeRig(rig);
    const { mount } = rig;
    const { clock } = host;
    // Side by side, for a slow server takes seconds over each answer.
    const asking = mount ? checkMountBelief(mount, rigFile.site, { clock, signal }) : [];
    const today = await checkPlansToday(
      { plans, rigFile, rig, belief: asking, places: options },
      { clock, signal },
    );
    const belief = await asking;
    const keepers = await whoHoldsRig(rigFile, host.clock);
    const missing = wanted
      .filter(([role]) => rigFile.devices[role] === undefined)
      .map(([role, without]) => ({ role, without }));
    return {
      exitCode: exitCodes.done,
      result: { rig: rigFile.rig, devices, belief, missing, keepers, offered: opened.offered, plans: today },
      text: [
        `${rigFile.rig}: ${devices.length} devices answer; nothing was changed.`,
        ...devices.flatMap(deviceLines),
        ...belief.map(({ what, verdict, text }) => `  the mount's ${what}: ${verdict}; ${text}`),
        ...missing.map(({ role, without }) => `no ${role} in the rig file: ${without}`),
        ...Object.entries(opened.offered).map(([server, names]) =>
          oneLine(`${server} offers ${names.join(", ")}`),
        ),
        ...describeToday(today),
        "if the agent were gone in mid-run the rig would be held by",
        ...keepers.map(({ name, why }) => (why === undefined ? `  ${name}` : `  NOT ${why}`)),
      ].join("\n"),
    };
  } catch (error) {
    if (!(error instanceof RigNotConnectedError)) throw error;
    throw new CommandError(
      exitCodes.deviceFailed,
      { happened: error.message, state: words.state, whatToDo: error.whatToDo },
      { cause: error },
    );
  }
}

/** Says hello and goodbye to those that the rig file names; the one of each run is started by the run. */
async function whoHoldsRig(rigFile: RigFile, clock: Clock) {
  const asked = listeningKeepers({ rigFile, clock, log: silentLog }).map(async (keeper) => {
    await keeper.begin();
    const why = keeper.whyNotAlive();
    await keeper.release("safe");
    return { name: keeper.name, ...given({ why }) };
  });
  return [{ name: "the keeper on this computer, which every run starts" }, ...(await Promise.all(asked))];
}

function deviceLines({ role, device, abilities }: DeviceDescription): string[] {
  const rows = Object.entries(abilities).map(([name, value]) => `    ${name}: ${value}`);
  return [`  ${role}: ${device}`, ...rows].map(oneLine);
}

const shippedPlans = ["first-flat", "flat-by-defocus", "flat-by-drift", "images-all-day"].map((name) =>
  Bun.fileURLToPath(findOwnFile(`plans/${name}.yaml`)),
);

export function registerProbe(program: Command, host: CommandHost = processHost): void {
  addCommand(program, "probe", "evenfield probe --rig plans/rig-example.yaml")
    .argument("[plans...]", "plan files to hold against the rig; left out, those that are shipped")
    .requiredOption("--rig <file>", "the rig file")
    .option("--runs <folder>", "where a run's own folder would be made", "runs")
    .option("--ledger <file>", "the ledger of runs and baselines", ledgerFileDefault())
    .action((plans: string[], options: ProbeOptions & { json?: boolean }) =>
      conclude(
        host,
        { command: "probe", json: options.json },
        (signal) => probe(plans.length > 0 ? { ...options, plans } : options, host, signal),
        words,
      ),
    );
}
