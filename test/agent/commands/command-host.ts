import { EventEmitter } from "node:events";
import { Command } from "commander";
import { type Envelope, envelopeSchema } from "../../../agent/commands/envelope.ts";
import type { CommandHost } from "../../../agent/commands/outcome.ts";
import { resultSchemas } from "../../../agent/commands/result-schemas.ts";
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

  /** What `--json` printed, whole. @throws unless it is exactly one envelope, of this exit code */
  get envelope(): Envelope {
    const envelope = envelopeSchema.parse(JSON.parse(this.out));
    if (envelope.exitCode !== this.exitCode)
      throw new Error(`the envelope says ${envelope.exitCode}, the process ${this.exitCode}`);
    return envelope;
  }

  /** The result in it, held to the schema of its command; of a failure the envelope itself. */
  // biome-ignore lint/suspicious/noExplicitAny: each command prints a shape of its own
  get json(): any {
    const { envelope } = this;
    if (envelope.result === null) return envelope;
    resultSchemas[envelope.command as keyof typeof resultSchemas].parse(envelope.result);
    return envelope.result;
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
