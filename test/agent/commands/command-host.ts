import { EventEmitter } from "node:events";
import { Command } from "commander";
import type { CommandHost } from "../../../agent/commands/outcome.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";

/** A process of its own for one command: what it prints and how it ends is kept. */
export class TestHost implements CommandHost {
  readonly clock = new VirtualClock(Date.UTC(2026, 6, 14, 10));
  readonly live = false;
  out = "";
  err = "";
  exitCode: number | undefined;

  stdout(text: string): void {
    this.out += text;
  }
  stderr(text: string): void {
    this.err += text;
  }
  setExitCode(code: number): void {
    this.exitCode = code;
  }

  /** What `--json` printed; throws unless it is exactly one JSON value. */
  // biome-ignore lint/suspicious/noExplicitAny: each command prints a shape of its own
  get json(): any {
    return JSON.parse(this.out);
  }
}

/** Somebody presses Ctrl-C as soon as there is progress. */
export class StoppedHost extends TestHost {
  readonly signals = new EventEmitter();

  override stderr(text: string): void {
    super.stderr(text);
    if (/^\[1\/1\] /.test(text)) this.signals.emit("SIGINT");
  }
}

/** Runs `evenfield ARGUMENTS` with one command registered. */
export async function evenfield(
  register: (program: Command, host: CommandHost) => void,
  args: readonly string[],
  host = new TestHost(),
): Promise<TestHost> {
  const program = new Command("evenfield").exitOverride();
  program.configureOutput({ writeOut: (text) => host.stdout(text), writeErr: (text) => host.stderr(text) });
  register(program, host);
  await program.parseAsync(args, { from: "user" });
  return host;
}
