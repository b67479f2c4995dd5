import { resolveAll } from "../../drivers/kit/resolve-all.ts";
import type { Rig } from "../../drivers/roles/rig.ts";
import type { Plan } from "../../plans/plan-file.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import type { CheckResult } from "../run/checks/check-result.ts";
import { type BeliefCheck, judgeBelief } from "../run/checks/mount-belief.ts";
import { listRigChecks } from "../run/checks/rig-checks.ts";
import { checkConditionsOnce, type GuardTools } from "../run/guard/guard.ts";
import { guardWatches } from "../run/guard/guard-watches.ts";
import { newFront } from "../safing/front.ts";
import { checkPlanOnRig, describeChecks } from "./plan-checks.ts";
import type { RecordPlaces } from "./run-records.ts";

export interface PlanToday {
  readonly file: string;
  readonly plan: string;
  readonly ready: boolean;
  readonly checks: readonly CheckResult[];
}

interface RigToday {
  readonly plans: readonly { readonly file: string; readonly plan: Plan }[];
  readonly rigFile: RigFile;
  readonly rig: Rig;
  readonly belief: readonly BeliefCheck[] | Promise<readonly BeliefCheck[]>;
  readonly places: RecordPlaces;
}

/** For each plan what a run would look at now, with somebody at the terminal; changes nothing. */
export async function checkPlansToday(
  { plans, rigFile, rig, belief, places }: RigToday,
  tools: GuardTools,
): Promise<readonly PlanToday[]> {
  const { believed, ofGuard, setup } = await resolveAll({
    believed: belief,
    ofGuard: checkGuard({ rigFile, rig }, tools),
    setup: rig.camera.setup(tools.signal),
  });
  const ofRig = [...(rig.mount ? judgeBelief(rig.mount.name, believed, false) : []), ...ofGuard];
  return plans.map(({ file, plan }) => {
    const nowUtcMs = tools.clock.nowMs();
    // With the devices at hand the camera is asked, not the rig file.
    const ofPlan = checkPlanOnRig({ plan, rigFile, nowUtcMs, unattended: false }, places).filter(
      ({ check }) => check !== "disc",
    );
    const checks = [...ofPlan, ...listRigChecks({ rig, rigFile, plan, setup, ...tools }), ...ofRig];
    return { file, plan: plan.plan, ready: checks.every(({ verdict }) => verdict !== "failed"), checks };
  });
}

/** What the guard would say of weather, dome and links; the Sun, the disk and the filter's statement are each plan's. */
async function checkGuard(
  { rigFile, rig }: Pick<RigToday, "rigFile" | "rig">,
  tools: GuardTools,
): Promise<readonly CheckResult[]> {
  const watches = guardWatches({
    rig,
    rigFile,
    clock: tools.clock,
    front: newFront(),
    findings: { lightRate: {} },
    sunAltitudeDegreesMin: rigFile.limits.sunAltitudeDegreesMin,
    freeDiskMegabytes: () => Number.POSITIVE_INFINITY,
    looking: () => false,
    searching: () => true,
    searchDegrees: 0,
  });
  const about = { check: "guard", kind: "safety" } as const;
  const reasons = await checkConditionsOnce(watches, tools);
  if (reasons.length === 0)
    return [
      {
        ...about,
        verdict: "passed",
        text: "weather, dome and links, as far as the rig has them, let a run begin",
      },
    ];
  return reasons.map((text) => ({ ...about, verdict: "failed", text, whatToDo: "Start when this is over." }));
}

/** What holds for all plans once, then each plan with what else speaks against it. */
export function describeToday(plans: readonly PlanToday[]): readonly string[] {
  const holds = (one: CheckResult) =>
    plans.every(({ checks }) =>
      checks.some(({ text, verdict }) => text === one.text && verdict === one.verdict),
    );
  const all = plans.flatMap(({ checks }) => checks);
  // Of checks that differ from plan to plan, such as the Sun's over the planned time, one that passed stands for them.
  const shared = new Map(
    all
      .filter((one) => one.verdict === "passed" || holds(one))
      .map((one) => [holds(one) ? one.text : one.check, one]),
  );
  return [
    "what this rig can do now, with somebody at the terminal",
    ...describeChecks([...shared.values()]).map((line) => `  ${line}`),
    ...plans.flatMap(({ plan, ready, checks }) => [
      `  ${plan}: ${ready ? "ready" : "NOT ready"}`,
      ...describeChecks(checks.filter((one) => one.verdict !== "passed" && !holds(one))).map(
        (line) => `    ${line}`,
      ),
    ]),
  ];
}
