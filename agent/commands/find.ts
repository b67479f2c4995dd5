import type { Command } from "commander";
import { findServers } from "../../drivers/find-servers.ts";
import type { Clock } from "../../drivers/kit/clock.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { escapeSteering, oneLine } from "../../drivers/kit/plain-text.ts";
import { Random } from "../../drivers/kit/random.ts";
import type { Address, FoundDevices, FoundServer } from "../../drivers/protocol.ts";
import type { FindOptions } from "../../drivers/protocols.ts";
import {
  addCommand,
  type CommandHost,
  conclude,
  exitCodes,
  type Outcome,
  processHost,
  wrongInput,
} from "./outcome.ts";
import { rigBlock } from "./rig-block.ts";

export interface FindCommandOptions {
  /** HOST:PORT each. */
  readonly indi?: readonly string[];
  readonly alpaca?: readonly string[];
  readonly seconds?: string;
  readonly discoveryPort?: string;
  /** How servers are reached; sockets unless a test says otherwise. */
  readonly links?: Pick<FindOptions, "exchange" | "openers"> & {
    targets?: NonNullable<FindOptions["discovery"]>["targets"];
  };
}

const indiPort = 7624;
const usualIndi = [`localhost:${indiPort}`];

/** `evenfield find`: lists device servers of both protocols and what hangs on them; connects no device. @throws CommandError */
export async function find(
  options: FindCommandOptions,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const { servers, silent } = await askForServers(options, host.clock, signal);
  const block = servers.length === 0 ? "" : rigBlock(servers);
  return {
    exitCode: exitCodes.done,
    result: { servers, silent, rigBlock: block },
    text: textOf({ servers, silent }, block),
  };
}

/** Every server that is heard, less what was never named and does not answer. @throws CommandError */
export async function askForServers(
  options: FindCommandOptions,
  clock: Clock,
  signal: AbortSignal,
): Promise<FoundDevices> {
  const wanted = (given: readonly string[] | undefined, port?: number) =>
    (given ?? []).map((text) => readAddress(text, port));
  const { targets, ...links } = options.links ?? {};
  const findings = await findServers(
    {
      clock,
      log: silentLog,
      random: new Random(1),
      indi: wanted(options.indi ?? usualIndi, indiPort),
      alpaca: wanted(options.alpaca),
      discovery: {
        waitSeconds: readNumber(options.seconds ?? "2", "--seconds", 0.1, 60),
        port: readNumber(options.discoveryPort ?? "32227", "--discovery-port", 1, 65535),
        ...(targets === undefined ? {} : { targets }),
      },
      ...links,
    },
    signal,
  );
  const isNamed = options.indi !== undefined;
  return { ...findings, silent: findings.silent.filter(({ protocol }) => isNamed || protocol !== "indi") };
}

const nothingDone = "Nothing was looked for.";

/** `HOST:PORT`, an IPv6 host in brackets. */
function readAddress(text: string, usualPort: number | undefined): Address {
  const [, bracketed, plain, digits] = /^(?:\[([^\]]+)\]|([^:\s[\]]+))(?::(\d{1,5}))?$/.exec(text) ?? [];
  const host = bracketed ?? plain;
  const port = digits === undefined ? usualPort : Number(digits);
  if (host !== undefined && port !== undefined && port >= 1 && port <= 65535) return { host, port };
  throw wrongInput(
    nothingDone,
    `"${text}" is not a host and a port.`,
    "Give it as HOST:PORT, for example 192.168.1.20:11111 or [fe80::1]:11111.",
  );
}

function readNumber(text: string, option: string, min: number, max: number): number {
  const value = text.trim() === "" ? Number.NaN : Number(text);
  if (value >= min && value <= max) return value;
  throw wrongInput(
    nothingDone,
    `"${text}" is no value for ${option}.`,
    `Give a number from ${min} to ${max}.`,
  );
}

function textOf({ servers, silent }: FoundDevices, block: string): string {
  const unheard = silent.map(
    ({ protocol, host, port, reason }) => `no answer: ${protocol} ${host}:${port} (${reason})`,
  );
  if (servers.length === 0) {
    return [
      "No device server was found. Servers of other networks are asked by name: --alpaca HOST:PORT, --indi HOST:PORT.",
      ...unheard,
    ].join("\n");
  }
  return [
    ...servers.flatMap(serverLines),
    ...unheard,
    "",
    "# For a rig file; keep what is meant, and rename the servers as you like:",
    escapeSteering(block), // what it escapes stands between double quotes, where YAML reads the escape
  ].join("\n");
}

function serverLines({ protocol, host, port, name, version, devices }: FoundServer): string[] {
  const called = [name, version].filter((word) => word !== "").join(" ");
  const heading = `${protocol} server ${host}:${port}${called === "" ? "" : `, ${called}`}`;
  const rows = devices.map((device) => {
    const facts = [device.kind, device.version].filter((word) => word !== "").join(" ");
    const use = device.roles.length === 0 ? "no use in a rig" : device.roles.join(" or ");
    return `  ${device.name} (${facts}): ${use}`;
  });
  return [heading, ...(rows.length === 0 ? ["  no devices"] : rows)].map(oneLine);
}

export function registerFind(program: Command, host: CommandHost = processHost): void {
  addServerOptions(addCommand(program, "find", "evenfield find --indi observatory.local:7624")).action(
    (options: FindCommandOptions & { json?: boolean }) =>
      conclude(host, { command: "find", json: options.json }, (signal) => find(options, host, signal)),
  );
}

/** Where servers are looked for. */
export function addServerOptions(command: Command): Command {
  return command
    .option(
      "--indi <HOST:PORT...>",
      `INDI servers to ask, which do not announce themselves (default ${usualIndi[0]})`,
    )
    .option("--alpaca <HOST:PORT...>", "Alpaca servers to ask beside those that answer discovery")
    .option("--seconds <S>", "how long answers are waited for, twice", "2")
    .option("--discovery-port <PORT>", "UDP port of Alpaca discovery", "32227");
}
