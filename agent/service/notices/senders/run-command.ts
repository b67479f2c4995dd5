import { spawn } from "node:child_process";
import { noticeJson } from "../notice.ts";
import type { NoticeSender } from "../notice-sender.ts";

/** Starts the user's program, with no shell, and gives it the notice on its standard input. */
export function commandSender([program, ...args]: readonly string[]): NoticeSender {
  return {
    send: (notice, signal) =>
      new Promise((resolve, reject) => {
        signal.throwIfAborted();
        const child = spawn(program!, args, { stdio: ["pipe", "ignore", "ignore"] });
        const stop = () => child.kill("SIGKILL");
        signal.addEventListener("abort", stop, { once: true });
        child.once("error", reject);
        child.once("exit", (code, killedBy) => {
          signal.removeEventListener("abort", stop);
          if (code === 0) resolve();
          else reject(new Error(`${program} ended with ${killedBy ?? `exit code ${code}`}`));
        });
        child.stdin.on("error", () => {}); // one that does not read it may still have done its work
        child.stdin.end(`${noticeJson(notice)}\n`);
      }),
  };
}
