import { once } from "node:events";
import { appendFile } from "node:fs/promises";
import type { Command } from "commander";
import { pino } from "pino";
import type { ByteLink } from "../../drivers/kit/links.ts";
import type { Log } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { streamLink } from "../../drivers/kit/stream-link.ts";
import { listenOn } from "../../drivers/kit/tcp-link.ts";
import { takeRig } from "../keeper/take-rig.ts";
import { type WatchEnded, watchAgent } from "../keeper/watch-agent.ts";
import { connectRigFile } from "../run/checks/connect-rig-file.ts";
import { lockRig } from "../run/machine/rig-lock.ts";
import { WordsQueue } from "../terminal/words-queue.ts";
import { ledgerFileDefault } from "./ledger-place.ts";
import { readListen } from "./listen-place.ts";
import {
  addCommand,
  type CommandHost,
  conclude,
  exitCodes,
  hostOfRig,
  type Outcome,
  wrongInput,
} from "./outcome.ts";
import { rigFromFile } from "./rig-from-file.ts";
import { openTcp } from "./rig-wiring.ts";
import { logOver } from "./run-log.ts";
import type { StopWords } from "./stop-signals.ts";

export interface KeepOptions {
  readonly rig: string;
  readonly ledger: string;
  /** PORT or HOST:PORT; left out, one agent is heard through standard input and output. */
  readonly listen?: string;
  readonly logFile?: string;
}

/** `evenfield keep`: watches over agents, and makes the rig safe when one is gone. @throws CommandError */
export async function keep(options: KeepOptions, host: CommandHost, signal: AbortSignal): Promise<Outcome> {
  const rigFile = rigFromFile(options.rig);
  const { clock } = host;
  const log = options.logFile === undefined ? logOver(host, "info") : logToFile(options.logFile);
  const tools = { rigFile, clock, log };
  const random = new Random(clock.nowMs());
  const watch = async (link: ByteLink) => {
    const ended = await watchAgent(link, {
      clock,
      rig: rigFile.rig,
      takeRig: (why) => {
        log.warn({ why }, "taking the rig");
        return takeRig({
          ...tools,
          connect: (limited, found, purpose) =>
            connectRigFile(rigFile, { openers: openTcp, clock, random, log, found, purpose }, limited),
          lock: () => lockRig(options.ledger, rigFile, { clock }),
        });
      },
    });
    log.info({ ended }, "an agent's watch is over");
    return ended;
  };
  if (options.listen === undefined) {
    if (process.stdin.isTTY === true)
      throw wrongInput(
        nothingTouched,
        "Without `--listen` there is no agent to watch over.",
        "Give `--listen PORT`.",
      );
    // It ends with the agent, not with a signal: a shutdown sends one to both, and the agent is to be outlived.
    const ended = await watch(streamLink(process.stdin, process.stdout, () => process.stdin.destroy()));
    return { exitCode: exitCodes.done, result: { ended }, text: "" };
  }
  return await keepForAll(options.listen, watch, host, signal);
}

async function keepForAll(
  listen: string,
  watch: (link: ByteLink) => Promise<WatchEnded>,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const at = readListen(listen, nothingTouched);
  const watches = new Set<Promise<WatchEnded>>();
  const server = await listenOn(at, (link) => {
    const watching = watch(link).finally(() => watches.delete(watching));
    watches.add(watching);
  }).catch((error: Error) => {
    throw wrongInput(
      nothingTouched,
      `${listen} could not be listened on: ${error.message}.`,
      "Name another.",
      error,
    );
  });
  host.stderr(`Listening for agents on ${at.host} port ${server.port}; Ctrl-C ends it.\n`);
  if (!signal.aborted) await once(signal, "abort");
  while (watches.size > 0) await Promise.allSettled(watches); // an agent in mid-run still needs it
  await server.close();
  return { exitCode: exitCodes.done, result: { port: server.port }, text: "No agent needs it any more." };
}

const nothingTouched = "Nothing on the rig was touched.";

/** A disk that does not answer keeps nobody: the words wait, and the oldest are dropped. */
function logToFile(file: string): Log {
  const queue = new WordsQueue(async (text) => {
    await appendFile(file, text);
    return true;
  });
  return pino({ level: "info", base: null }, { write: (line: string) => queue.say(line) });
}

const words: StopWords = {
  first: "Stopping as soon as no agent needs it any more.",
  again: "Still watching over an agent; please wait.",
  state: nothingTouched,
  pause: "Not paused: an agent may need it. Ctrl-C ends it.",
};

export function registerKeep(program: Command, host: CommandHost = hostOfRig()): void {
  addCommand(program, "keep", "evenfield keep --rig plans/rig-example.yaml --listen 0.0.0.0:7627")
    .requiredOption("--rig <file>", "the rig file")
    .option(
      "--ledger <file>",
      "the ledger of the agent, where that works on this computer",
      ledgerFileDefault(),
    )
    .option("--listen <[HOST:]PORT>", "watch over agents that connect there (without HOST on loopback only)")
    .option("--log-file <file>", "where to log, instead of stderr")
    .addHelpText(
      "after",
      "\nAn agent says hello once it may change the rig, and is heard of every two seconds from then on. Silence for ten\n" +
        "seconds, or the end of the connection without a goodbye: the cover is closed, the telescope turned off the Sun and\n" +
        "its tracking switched off. `evenfield run` starts one on its own computer by itself, over standard input and\n" +
        "output; one that listens beside the telescope also helps when that computer or the network is gone: name it in\n" +
        "the rig file, keeper: { host: HOST, port: PORT }.",
    )
    .action((options: KeepOptions & { json?: boolean }) =>
      conclude(host, { command: "keep", json: options.json }, (signal) => keep(options, host, signal), words),
    );
}
