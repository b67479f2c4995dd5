import type { Log } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { tcpOpener } from "../../drivers/kit/tcp-link.ts";
import type { Openers } from "../run/checks/connect-rig-file.ts";
import type { AskPerson } from "../run/checks/hand-cover.ts";
import type { CommandHost } from "./outcome.ts";
import { askOver } from "./person.ts";
import { logOver } from "./run-log.ts";

/** What a command that moves a rig is wired to; tests and the kill campaign give their own. */
export interface RigWiring {
  readonly openers: Openers;
  readonly log: Log;
  readonly random: Random;
  readonly signal: AbortSignal;
  /** Where the locks on rigs and devices are. Default: the one place of this computer. */
  readonly lockFolder?: string;
  /** Left out where nobody is at a terminal. */
  readonly askPerson?: AskPerson;
}

export const openTcp: Openers = (server) => tcpOpener(server.indi);

export function wireRig(host: CommandHost, signal: AbortSignal, logLevel: string): RigWiring {
  return {
    openers: openTcp,
    log: logOver(host, logLevel),
    random: new Random(host.clock.nowMs()),
    signal,
    ...(process.stdin.isTTY === true ? { askPerson: askOver(process.stdin, host) } : {}),
  };
}
