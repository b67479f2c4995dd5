import { confirmAfterTrip, filterProblem, solarCautions, tripProblem } from "../guard/sun-filter.ts";
import { RunRefusedError } from "../record/run-errors.ts";
import type { RetreatRecord } from "../record/run-record.ts";
import { lowestSun, plannedObserving } from "../steps/planned-time.ts";
import { type PlanScene, rowOf, type StepTable, sunAltitudeLimit } from "../steps/step-row.ts";

export interface PlanCheck {
  readonly table: StepTable;
  readonly scene: PlanScene;
  readonly nowUtcMs: number;
  readonly unattended: boolean;
  readonly freeDiskMegabytes: () => number;
  /** Far too much light, after which nobody has confirmed the Sun filter. */
  readonly unconfirmedTrip: RetreatRecord | undefined;
}

/**
 * All that can be judged before a device is touched. What is wrong with the input comes first, then what is unsafe.
 * @throws RunRefusedError with every reason of its kind
 */
export function checkPlan(check: PlanCheck): void {
  const unfit = inputReasons(check);
  if (unfit.length > 0) {
    throw new RunRefusedError(
      "input",
      sentence(unfit),
      "Change the plan or the rig file as the lines say, then start again.",
    );
  }
  const unsafe = safetyReasons(check);
  if (unsafe.reasons.length > 0)
    throw new RunRefusedError("safety", sentence(unsafe.reasons), unsafe.whatToDo);
}

function inputReasons({ table, scene, unattended }: PlanCheck): string[] {
  const { plan, rigFile } = scene;
  const reasons: string[] = [];
  plan.steps.forEach((step, index) => {
    for (const role of rowOf(table, step).needs(step)) {
      if (rigFile.devices[role] === undefined) {
        reasons.push(`step ${index + 1} (${step.step}) needs a ${role}, and the rig file lists none`);
      }
    }
  });
  for (const role of ["cover", "diffuser"] as const) {
    const device = rigFile.devices[role];
    const needed =
      role === "cover" || plan.steps.some((step) => rowOf(table, step).needs(step).includes(role));
    if (unattended && needed && device !== undefined && "by" in device) {
      reasons.push(
        `the ${role} is moved by hand, and nobody is there: run at a terminal, or fit a driven ${role}`,
      );
    }
  }
  return reasons;
}

function safetyReasons({ table, scene, nowUtcMs, freeDiskMegabytes, unconfirmedTrip }: PlanCheck): {
  reasons: string[];
  whatToDo: string;
} {
  const { rigFile } = scene;
  const reasons: string[] = [];
  const todo: string[] = [];
  const doubt = filterProblem(rigFile.sunFilter, nowUtcMs);
  if (doubt) {
    reasons.push(doubt);
    todo.push(
      `Inspect the filter, then write the day into \`lastConfirmed\` of the rig file. ${solarCautions}`,
    );
  }
  if (unconfirmedTrip && scene.plan.steps.some((step) => rowOf(table, step).sun !== "none")) {
    reasons.push(tripProblem(unconfirmedTrip));
    todo.push(`${confirmAfterTrip(unconfirmedTrip)} ${solarCautions}`);
  }
  const limit = sunAltitudeLimit(scene);
  const planned = plannedObserving(table, scene, nowUtcMs);
  const lowest = lowestSun(rigFile.site, planned);
  if (lowest.altitudeDegrees < limit) {
    const minutes = Math.ceil((planned.toUtcMs - planned.fromUtcMs) / 60_000);
    reasons.push(
      `the Sun is ${lowest.altitudeDegrees.toFixed(1)}° high at ${new Date(lowest.utcMs).toISOString().slice(0, 16)}Z, ` +
        `below the limit of ${limit}°, within the ${minutes} minutes that the plan takes`,
    );
    todo.push("Start when the Sun stays high enough for all of it; `evenfield sun` lists the hours.");
  }
  const free = freeDiskMegabytes();
  const needed = rigFile.limits.freeDiskMegabytesMin;
  if (free < needed) {
    reasons.push(`${Math.floor(free)} MB are free on the disk, below the limit of ${needed} MB`);
    todo.push("Make room on the disk.");
  }
  return { reasons, whatToDo: todo.join(" ") };
}

function sentence(reasons: readonly string[]): string {
  return reasons.join("; ");
}
