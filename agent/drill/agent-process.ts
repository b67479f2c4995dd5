import { type ChildProcess, spawn } from "node:child_process";
import { once } from "node:events";
import { ownCommand } from "../../drivers/kit/place.ts";

/** How a process of this program ended: its exit code, and the envelope that `--json` printed if it lived to print it. */
export interface ProcessEnded {
  readonly exitCode: number | null;
  readonly result: Readonly<Record<string, unknown>> | undefined;
  /** The last line it said, for a person. */
  readonly lastWords: string;
}

/** This program at work in a process of its own, in a session of its own: no signal of our terminal reaches it. */
export class AgentProcess {
  readonly ended: Promise<ProcessEnded>;
  readonly #child: ChildProcess;
  #isOver = false;

  constructor(args: readonly string[]) {
    const [program, ...rest] = [...ownCommand(), ...args, "--json"];
    this.#child = spawn(program!, rest, { stdio: ["ignore", "pipe", "pipe"], detached: true });
    const said = { out: "", err: "" };
    this.#child.stdout!.on("data", (bytes: Buffer) => (said.out += bytes.toString()));
    this.#child.stderr!.on(
      "data",
      (bytes: Buffer) => (said.err = (said.err + bytes.toString()).slice(-4000)),
    );
    this.ended = once(this.#child, "close").then(([exitCode]) => {
      this.#isOver = true;
      const lastWords = said.err.trim().split("\n").at(-1) ?? "";
      return { exitCode: exitCode as number | null, result: resultOf(said.out), lastWords };
    });
  }

  get isOver(): boolean {
    return this.#isOver;
  }

  signal(name: "SIGKILL" | "SIGHUP" | "SIGTERM"): void {
    this.#child.kill(name);
  }
}

function resultOf(out: string): ProcessEnded["result"] {
  try {
    return (JSON.parse(out) as { result: ProcessEnded["result"] | null }).result ?? undefined;
  } catch {
    return undefined;
  }
}
