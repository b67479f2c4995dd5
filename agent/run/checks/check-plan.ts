import type { Site } from "../../../drivers/roles/mount.ts";
import { cautionText } from "../../safing/caution.ts";
import { sunAbove } from "../../sky/sun-day.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { confirmAfterTrip, filterProblem, filterStatement, tripProblem } from "../guard/sun-filter.ts";
import type { RetreatRecord } from "../record/run-record.ts";
import { formatUtcMinute } from "../record/utc-minute.ts";
import { lowestSun, plannedObserving } from "../steps/planned-time.ts";
import { type PlanScene, rowOf, type StepTable, sunAltitudeLimit } from "../steps/step-row.ts";
import { type CheckResult, refuseFailed } from "./check-result.ts";
import { checkDiscOnSensor } from "./disc-check.ts";

export interface PlanCheck {
  readonly table: StepTable;
  readonly scene: PlanScene;
  readonly nowUtcMs: number;
  readonly unattended: boolean;
  readonly freeDiskMegabytes: () => number;
  /** Far too much light, after which nobody has confirmed the Sun filter. */
  readonly unconfirmedTrip: RetreatRecord | undefined;
}

/** All that can be judged before a device is touched. @throws RunRefusedError with every reason of its kind */
export function checkPlan(check: PlanCheck): void {
  refuseFailed(listPlanChecks(check));
}

/** The same, told one by one. */
export function listPlanChecks(check: PlanCheck): readonly CheckResult[] {
  return [
    ...checkDevices(check),
    ...checkHands(check),
    checkFilter(check),
    checkTrip(check),
    checkSun(check),
    checkDisk(check),
    ...checkDiscOnSensor(check.scene, check.nowUtcMs),
  ];
}

const changeInput = "Change the plan or the rig file as the lines say, then start again.";

function checkDevices({ table, scene }: PlanCheck): CheckResult[] {
  const { plan, rigFile } = scene;
  const about = { check: "devices", kind: "input" } as const;
  const lacking = plan.steps.flatMap((step, index) =>
    rowOf(table, step)
      .needs(step)
      .filter((role) => rigFile.devices[role] === undefined)
      .map((role) => `step ${index + 1} (${step.step}) needs a ${role}, and the rig file lists none`),
  );
  if (lacking.length === 0)
    return [{ ...about, verdict: "passed", text: "the rig file lists every device that the plan needs" }];
  return lacking.map((text) => ({ ...about, verdict: "failed", text, whatToDo: changeInput }));
}

function checkHands({ table, scene: { plan, rigFile }, unattended }: PlanCheck): CheckResult[] {
  const about = { check: "by hand", kind: "input" } as const;
  const byHand = (["cover", "diffuser"] as const).filter((role) => {
    const device = rigFile.devices[role];
    const needed =
      role === "cover" || plan.steps.some((step) => rowOf(table, step).needs(step).includes(role));
    return needed && device !== undefined && "by" in device;
  });
  if (byHand.length === 0) return [{ ...about, verdict: "passed", text: "nothing is moved by hand" }];
  if (!unattended) {
    const text = `moved by hand: ${byHand.join(" and ")}; somebody at the terminal is asked, and unattended it is refused`;
    return [{ ...about, verdict: "passed", text }];
  }
  return byHand.map((role) => ({
    ...about,
    verdict: "failed",
    text: `the ${role} is moved by hand, and nobody is there: run at a terminal, or fit a driven ${role}`,
    whatToDo: changeInput,
  }));
}

function checkFilter({ scene: { rigFile }, nowUtcMs }: PlanCheck): CheckResult {
  const about = { check: "Sun filter", kind: "safety" } as const;
  const doubt = filterProblem(rigFile.sunFilter, nowUtcMs);
  if (doubt === undefined)
    return { ...about, verdict: "passed", text: filterStatement(rigFile.sunFilter, nowUtcMs) };
  const inspect = "Inspect the filter, then write the day into `lastConfirmed` of the rig file.";
  return { ...about, verdict: "failed", text: doubt, whatToDo: `${inspect} ${cautionText}` };
}

function checkTrip({ table, scene, unconfirmedTrip }: PlanCheck): CheckResult {
  const about = { check: "earlier light", kind: "safety" } as const;
  if (!unconfirmedTrip || scene.plan.steps.every((step) => rowOf(table, step).sun === "none"))
    return {
      ...about,
      verdict: "passed",
      text: "no run of this rig that is known here found the light far too bright",
    };
  return {
    ...about,
    verdict: "failed",
    text: tripProblem(unconfirmedTrip),
    whatToDo: `${confirmAfterTrip(unconfirmedTrip)} ${cautionText}`,
  };
}

function checkSun({ table, scene, nowUtcMs }: PlanCheck): CheckResult {
  const about = { check: "Sun", kind: "safety" } as const;
  const { site } = scene.rigFile;
  const limit = sunAltitudeLimit(scene);
  const planned = plannedObserving(table, scene, nowUtcMs);
  const lowest = lowestSun(site, planned);
  const minutes = Math.ceil((planned.toUtcMs - planned.fromUtcMs) / 60_000);
  const hours = usableHours(site, limit, nowUtcMs);
  const lowestText = `${lowest.altitudeDegrees.toFixed(1)}° high at ${formatUtcMinute(lowest.utcMs)}`;
  if (lowest.altitudeDegrees < limit) {
    return {
      ...about,
      verdict: "failed",
      text: `the Sun is ${lowestText}, below the limit of ${limit}°, within the ${minutes} minutes that the plan takes`,
      whatToDo: `Start when the Sun stays high enough for all of it: ${hours}; \`evenfield sun\` has more.`,
    };
  }
  const now = sunFromSite(nowUtcMs, site).altitudeDegrees.toFixed(1);
  const lowestOfAll = `at its lowest ${lowestText} within the ${minutes} minutes that the plan takes`;
  return {
    ...about,
    verdict: "passed",
    text: `the Sun is ${now}° high, and ${lowestOfAll}; the limit is ${limit}°; ${hours}`,
  };
}

/** In words, for the day that a time belongs to. */
function usableHours(site: Site, altitudeDegrees: number, nowUtcMs: number): string {
  const window = sunAbove(nowUtcMs, site, altitudeDegrees);
  if (!window) return `on this day it does not climb to ${altitudeDegrees}°`;
  return `it stands above ${altitudeDegrees}° from ${formatUtcMinute(window.fromUtcMs)} to ${formatUtcMinute(window.toUtcMs)}`;
}

function checkDisk({ scene: { rigFile }, freeDiskMegabytes }: PlanCheck): CheckResult {
  const about = { check: "disk", kind: "safety" } as const;
  const free = freeDiskMegabytes();
  const needed = rigFile.limits.freeDiskMegabytesMin;
  const text = `${Math.floor(free)} MB are free on the disk`;
  if (free >= needed) return { ...about, verdict: "passed", text };
  return {
    ...about,
    verdict: "failed",
    text: `${text}, below the limit of ${needed} MB`,
    whatToDo: "Make room on the disk.",
  };
}
