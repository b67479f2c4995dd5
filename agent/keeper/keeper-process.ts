import { spawn } from "node:child_process";
import type { OpenLink } from "../../drivers/kit/links.ts";
import { streamLink } from "../../drivers/kit/stream-link.ts";

/**
 * Starts the keeper as a process in a session of its own: neither this process's terminal nor its end takes it along.
 * It hears this process through a pipe, which ends with this process, whatever ends it.
 * @param command the program and its arguments
 */
export function keeperProcessOpener(command: readonly string[]): OpenLink {
  return async (signal) => {
    signal.throwIfAborted();
    const [program, ...args] = command;
    const child = spawn(program!, args, { detached: true, stdio: ["pipe", "pipe", "ignore"] });
    child.unref();
    const failed = new Promise<never>((_, reject) => child.once("error", reject));
    failed.catch(() => {});
    await Promise.race([failed, new Promise((resolve) => child.once("spawn", resolve))]);
    const { stdin, stdout } = child;
    return streamLink(stdout, stdin, () => {
      stdin.end();
      stdout.destroy();
    });
  };
}
