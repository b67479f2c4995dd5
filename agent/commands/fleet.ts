import { renameSync, writeFileSync } from "node:fs";
import type { Command } from "commander";
import { given } from "../../drivers/kit/given.ts";
import { type BrokerEntry, isBrokerAddress, isPrivate, topicPattern } from "../../plans/notices-file.ts";
import { fleetPage } from "../fleet/fleet-page.ts";
import { countStandings, fleetRows } from "../fleet/fleet-rows.ts";
import { fleetTable } from "../fleet/fleet-table.ts";
import { type FleetWatch, watchFleet } from "../fleet/watch-fleet.ts";
import {
  addCommand,
  CommandError,
  type CommandHost,
  conclude,
  exitCodes,
  type Outcome,
  processHost,
  wrongInput,
} from "./outcome.ts";

export interface FleetOptions {
  readonly broker: string;
  readonly topic: string;
  readonly user?: string;
  readonly passwordFile?: string;
  readonly caFile?: string;
  /** Where one page of all rigs is written. */
  readonly page?: string;
  /** Goes on writing it until it is stopped. */
  readonly follow?: boolean;
}

const connectSeconds = 20;
/** How often a page that is followed is written, and asks to be read again [s]. */
const everySeconds = 10;
const nothing = "Nothing was written; no rig was touched.";

/** `evenfield fleet`: all rigs on a broker. Reads alone. @throws CommandError */
export async function showFleet(
  options: FleetOptions,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const entry = brokerOf(options);
  const { clock } = host;
  const watching = watchFleet(entry, clock, { withinSeconds: connectSeconds, signal });
  await using watch = await watching.catch((error: Error): never => {
    signal.throwIfAborted();
    throw new CommandError(
      exitCodes.deviceFailed,
      {
        happened: `Nothing is known of the rigs: ${error.message}.`,
        state: nothing,
        whatToDo: "Check the broker's address, the user and the password file.",
      },
      { cause: error },
    );
  });
  const write = () => options.page !== undefined && writePage(options.page, options, watch, clock.nowMs());
  write();
  if (options.follow === true) {
    if (options.page !== undefined) host.stderr(`${options.page} is written each ${everySeconds} s.\n`);
    await follow(watch, write, host, signal);
  }
  const rows = fleetRows(watch.rigs.values());
  return { exitCode: exitCodes.done, result: { rigs: rows }, text: fleetTable(rows) };
}

/** Until the signal aborts; without a page, a line whenever the counts are others. */
async function follow(watch: FleetWatch, write: () => unknown, host: CommandHost, signal: AbortSignal) {
  let said = "";
  while (!signal.aborted) {
    const counts = countStandings(fleetRows(watch.rigs.values()));
    if (counts !== said) host.stderr(`${counts}\n`);
    said = counts;
    await host.clock.sleep(everySeconds, signal).catch(() => {});
    write();
  }
}

function writePage(
  file: string,
  { broker, follow }: FleetOptions,
  watch: FleetWatch,
  nowUtcMs: number,
): void {
  const html = fleetPage(fleetRows(watch.rigs.values()), {
    utc: new Date(nowUtcMs).toISOString(),
    broker,
    isConnected: watch.isConnected(),
    ...given({ refreshSeconds: follow === true ? everySeconds : undefined }),
  });
  try {
    writeFileSync(`${file}.new`, html);
    renameSync(`${file}.new`, file); // never half a page
  } catch (error) {
    throw wrongInput(
      "No rig was touched.",
      `${file} could not be written (${(error as Error).message}).`,
      "Name another file.",
      error,
    );
  }
}

function brokerOf({ broker, topic, user, passwordFile, caFile }: FleetOptions): BrokerEntry {
  if (!isBrokerAddress(broker))
    throw wrongInput(
      nothing,
      `"${broker}" is no address of a broker.`,
      "Give mqtts://HOST:PORT or mqtt://HOST:PORT; the user and the password stand in options of their own.",
    );
  if (!topicPattern.test(topic))
    throw wrongInput(
      nothing,
      `"${topic}" is no topic.`,
      "Give levels with / between, without spaces, + and #.",
    );
  if (passwordFile !== undefined && !isPrivate(broker))
    throw wrongInput(
      nothing,
      "A password would go over the open network.",
      "Give an address with mqtts://, or a broker on this computer.",
    );
  return { broker, topic, ...given({ user, passwordFile, caFile }) };
}

export function registerFleet(program: Command, host: CommandHost = processHost): void {
  addCommand(
    program,
    "fleet",
    "evenfield fleet --broker mqtts://broker.example.org:8883 --page rigs.html --follow",
  )
    .requiredOption("--broker <address>", "the MQTT 5 broker to which the rigs' notices files name the way")
    .option("--topic <topic>", "below which they stand, as in the notices files", "evenfield")
    .option("--user <name>", "its name at the broker")
    .option("--password-file <file>", "the file that holds the password; nobody but its owner may read it")
    .option("--ca-file <file>", "the certificate authority's certificate, where no public one signed")
    .option("--page <file>", "also write one page of all rigs")
    .option("--follow", "go on until it is stopped, and write the page again and again")
    .action((options: FleetOptions & { json?: boolean }) =>
      conclude(host, { command: "fleet", json: options.json }, (signal) => showFleet(options, host, signal)),
    );
}
