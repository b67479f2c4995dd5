/** The agent of the kill campaign: the commands `run` and `restore` as they are, on a clock that runs fast. */

import { type CommandHost, conclude } from "../../agent/commands/outcome.ts";
import { restore } from "../../agent/commands/restore.ts";
import { type RunWiring, run } from "../../agent/commands/run.ts";
import { serve } from "../../agent/commands/serve.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { tcpOpener } from "../../drivers/kit/tcp-link.ts";
import { presentKeeper } from "../agent/run/present-keeper.ts";
import { type SharedTime, sharedClock, told } from "./kill-clock.ts";

export interface AgentOrder {
  readonly command: "run" | "restore" | "serve";
  readonly time: SharedTime;
  /** Of `serve` the schedule. */
  readonly plan: string;
  readonly rig: string;
  readonly ledger: string;
  readonly runs: string;
}

const { command, time, plan, rig, ledger, runs } = told<AgentOrder>();
const host: CommandHost = {
  clock: sharedClock(time),
  live: false,
  ...(command === "serve" ? { signals: process } : {}),
  stdout: (text) => void process.stdout.write(text),
  stderr: (text) => void process.stderr.write(text),
  setExitCode: (code) => {
    process.exitCode = code;
  },
};
const wiring: RunWiring = {
  openers: (server) => tcpOpener(server.indi),
  log: silentLog,
  random: new Random(1),
  signal: new AbortController().signal,
  lockFolder: `${ledger}.locks`,
  keepers: () => [presentKeeper],
  writeOutputs: async () => [],
};
await conclude(host, { command, json: false }, (signal) => {
  if (command === "serve") return serve(plan, { rig, ledger, runs }, { ...wiring, signal }, host);
  return command === "run"
    ? run(plan, { rig, ledger, runs, unattended: true }, wiring, host)
    : restore({ rig, ledger, runs }, wiring, host);
});
process.exit(); // links that linger must not keep the process
