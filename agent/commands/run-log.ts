import { Option } from "commander";
import { pino } from "pino";
import type { Log } from "../../drivers/kit/log.ts";
import type { CommandHost } from "./process-host.ts";

/** The program's log on stderr, one JSON object a line. */
export function logOver(host: CommandHost, level: string): Log {
  return pino({ level, base: null }, { write: (line: string) => host.stderr(line) });
}

export function logOption(): Option {
  return new Option("--log <level>", "what to log on stderr")
    .choices(["debug", "info", "warn"])
    .default("warn");
}
