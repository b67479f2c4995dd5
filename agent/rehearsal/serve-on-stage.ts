import { join } from "node:path";
import type { ClockTimer } from "../../drivers/kit/clock.ts";
import type { RunReport } from "../run/record/run-record.ts";
import { serveSchedule } from "../service/serve-schedule.ts";
import type { ServiceOptions } from "../service/service-options.ts";
import { AgentKilledError } from "./agent-life.ts";
import type { ScriptedFault } from "./faults/fault.ts";
import type { AgentTools, RehearsalStage } from "./rehearsal-stage.ts";

/** One process of the service on the stage. */
export interface StagedService
  extends Pick<ServiceOptions, "readInput" | "inputStamp" | "onStatus" | "onReady" | "wishes"> {
  /** Until SIGTERM, unless a fault ends it before. */
  readonly hours: number;
  readonly faults?: readonly ScriptedFault[];
  onRunEnded?(entry: string, report: RunReport): void;
}

let processes = 0;

/** @returns how many runs it began; `undefined` when it was killed */
export async function serveOnStage(
  stage: RehearsalStage,
  { hours, faults = [], ...service }: StagedService,
): Promise<number | undefined> {
  let sigterm: ClockTimer | undefined;
  const serve = (tools: AgentTools) => {
    sigterm = stage.clock.setTimer(hours * 3600, () => stage.stop(new Error("SIGTERM")));
    return serveSchedule({
      ...tools,
      ...service,
      ledger: stage.ledger,
      runsFolder: stage.runsFolder,
      lockFolder: join(stage.folder, `locks-${++processes}`), // a killed process's locks are gone with it
      keepers: () => [tools.keeper()],
      writeOutputs: async () => [],
    });
  };
  try {
    return (await stage.agent(serve, faults)).runs;
  } catch (error) {
    if (error instanceof AgentKilledError) return undefined;
    throw error;
  } finally {
    sigterm?.cancel(); // one that was killed must not end those after it
  }
}
