import type { Clock } from "../../drivers/kit/clock.ts";
import type { Log } from "../../drivers/kit/log.ts";
import { findServiceManager } from "../service/service-manager.ts";
import type { ServiceStatus } from "../service/service-status.ts";

export interface ManagerNews extends Disposable {
  ready(): void;
  note(status: ServiceStatus): void;
}

/**
 * Tells the service manager, where there is one, how the service is, until disposed of. The sign of life comes from the main
 * thread: one that hangs is ended and started anew.
 */
export async function openManagerNews(
  environment: Readonly<Record<string, string | undefined>>,
  clock: Clock,
  log: Log,
): Promise<ManagerNews | undefined> {
  const manager = await findServiceManager(environment, process.pid, log);
  if (!manager) return undefined;
  const { watchdogSeconds } = manager;
  const ended = new AbortController();
  if (watchdogSeconds !== undefined)
    void (async () => {
      while (!ended.signal.aborted) {
        manager.tell({ WATCHDOG: "1" });
        await clock.sleep(watchdogSeconds / 3, ended.signal).catch(() => undefined);
      }
    })();
  let said = "";
  return {
    ready: () => manager.tell({ READY: "1" }),
    note({ state, because }) {
      const text = `${state}: ${because}`;
      if (text === said) return;
      said = text;
      manager.tell(state === "stopping" ? { STOPPING: "1", STATUS: text } : { STATUS: text });
    },
    [Symbol.dispose]: () => ended.abort(new Error("the service has ended")),
  };
}
