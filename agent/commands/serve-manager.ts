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
  log: Log,
): Promise<ManagerNews | undefined> {
  const manager = await findServiceManager(environment, process.pid, log);
  if (!manager) return undefined;
  const { watchdogSeconds } = manager;
  const beat =
    watchdogSeconds === undefined
      ? undefined
      : setInterval(() => manager.tell({ WATCHDOG: "1" }), (watchdogSeconds / 3) * 1000);
  let said = "";
  return {
    ready: () => manager.tell({ READY: "1" }),
    note({ state, because }) {
      const text = `${state}: ${because}`;
      if (text === said) return;
      said = text;
      manager.tell(state === "stopping" ? { STOPPING: "1", STATUS: text } : { STATUS: text });
    },
    [Symbol.dispose]: () => clearInterval(beat),
  };
}
