import { Option } from "commander";
import { destination, pino } from "pino";
import type { Log } from "../../drivers/kit/log.ts";

/** The program's log on stderr, one JSON object a line; synchronous, so that nothing is lost at the end. */
export function stderrLog(level: string): Log {
  const stderr = destination({ dest: 2, sync: true });
  stderr.on("error", () => {}); // a terminal that is gone must not end the run
  return pino({ level, base: null }, stderr);
}

export function logOption(): Option {
  return new Option("--log <level>", "what to log on stderr")
    .choices(["debug", "info", "warn"])
    .default("warn");
}
