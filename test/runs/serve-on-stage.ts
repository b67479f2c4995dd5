import { serveOnStage as serve } from "../../agent/rehearsal/serve-on-stage.ts";
import type { RunReport } from "../../agent/run/record/run-record.ts";
import type { Wishes } from "../../agent/service/deeds/wishes.ts";
import { ScheduleRecord } from "../../agent/service/record/attempt-rows.ts";
import type { Attempt } from "../../agent/service/schedule/attempts.ts";
import type { ServiceStatus } from "../../agent/service/service-status.ts";
import { readPlan } from "../../plans/plan-file.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import { readSchedule } from "../../plans/schedule-file.ts";
import type { ScriptedFault, Stage } from "../stage/stage.ts";

/** What a person has written, and may write anew while the service is on. */
export interface StageFiles {
  schedule: string;
  rigFile: RigFile;
}

export interface ServedOnStage {
  /** `undefined` when the service was killed. */
  readonly runs: number | undefined;
  readonly statuses: readonly ServiceStatus[];
  readonly reports: readonly RunReport[];
  /** All that is in the ledger, in order. */
  readonly attempts: readonly Attempt[];
}

export const imagesPlan = `plan: two-images
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - images: { frames: 2 }
`;

/** Takes the rig and changes nothing: where only the schedule matters. */
const idlePlan = "plan: idle\nsteps:\n  - wait: { minutes: 2 }\n";

/** A new process of the service on the stage, until SIGTERM after so many hours, or until a fault ends it. */
export async function serveOnStage(
  stage: Stage,
  files: StageFiles,
  {
    hours,
    faults = [],
    plan = idlePlan,
    wishes,
    onStatus,
  }: {
    hours: number;
    faults?: readonly ScriptedFault[];
    plan?: string;
    wishes?: Wishes;
    onStatus?: (status: ServiceStatus) => void;
  },
): Promise<ServedOnStage> {
  const statuses: ServiceStatus[] = [];
  const reports: RunReport[] = [];
  const runs = await serve(stage, {
    hours,
    faults,
    readInput: () => {
      const schedule = readSchedule(files.schedule, "schedule.yaml");
      const plans = schedule.entries.map(({ entry }) => [entry, readPlan(plan, "plan.yaml")] as const);
      const { site } = files.rigFile;
      return {
        loaded: { schedule, plans: new Map(plans) },
        rigFile: files.rigFile,
        site: { ...site, timeZone: site.timeZone! },
      };
    },
    inputStamp: () => files.schedule + JSON.stringify(files.rigFile),
    wishes,
    onStatus: (status) => {
      statuses.push(status);
      onStatus?.(status);
    },
    onRunEnded: (_entry, report) => reports.push(report),
  });
  const attempts = new ScheduleRecord(stage.ledger, files.rigFile.rig).attempts(0);
  return { runs, statuses, reports, attempts };
}
