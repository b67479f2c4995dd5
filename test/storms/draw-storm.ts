import type { PersonKind } from "../../agent/rehearsal/persons.ts";
import { Random } from "../../drivers/kit/random.ts";
import { type RoleName, roleNames } from "../../drivers/roles/roles.ts";
import { type FaultKind, faultKindNames, kindOf } from "./fault-kinds.ts";
import type { Phase, Storm, StormFault } from "./storm.ts";
import type { PlanName } from "./storm-plans.ts";

const often = <T>(pairs: readonly (readonly [T, number])[], random: Random): T => {
  let left = random.uniform() * pairs.reduce((sum, [, weight]) => sum + weight, 0);
  for (const [value, weight] of pairs) {
    left -= weight;
    if (left < 0) return value;
  }
  return pairs[0]![0];
};

const plans: readonly (readonly [PlanName, number])[] = [
  ["images", 50],
  ["centre", 12],
  ["waits", 15],
  ["flat", 20],
  ["drift", 2],
  ["defocus", 2],
  ["darks", 3],
];

/** Where it is dangerous, most often; what a plan does not come to, never. */
function phaseWeights(plan: PlanName, index: number): readonly (readonly [Phase, number])[] {
  if (plan === "darks") {
    return [
      ["start", 1],
      ["restoring", 1],
    ];
  }
  return [
    ["start", 6],
    ["coveredSlew", 8],
    ["atSun", 6],
    ["uncovering", 12],
    ["uncovered", 22],
    ["exposing", 16],
    ["openSlew", 8],
    ["diffuserIn", plan === "flat" ? 10 : 0],
    ["closing", 8],
    ["waiting", plan === "waits" ? 10 : 0],
    ["retreating", index > 0 ? 10 : 0],
    ["restoring", 12],
  ];
}

/** Which times of a phase are drawn from: no more than a run comes to. */
function timesMost(phase: Phase, plan: PlanName): number {
  if (phase === "exposing") return plan === "centre" ? 3 : 6;
  if (phase === "openSlew") return 2;
  const opensAgain = plan === "flat" || plan === "waits";
  return opensAgain && (phase === "uncovering" || phase === "uncovered" || phase === "closing") ? 2 : 1;
}

/** How long after its beginning at most [s]. */
const mostAfterSeconds: Readonly<Partial<Record<Phase, number>>> = {
  start: 120,
  restoring: 12,
  waiting: 100,
};

/** The storm of a seed. */
export function drawStorm(seed: number): Storm {
  const random = new Random(seed).fork("storm");
  const rig = drawRig(random.fork("rig"));
  const found = drawFound(random.fork("found"), rig);
  const plan = often(plans, random.fork("plan"));
  const evening = random.fork("evening");
  const sinks = evening.uniform() < 0.06 && { sinksAfterSeconds: evening.between(60, 900) };
  return {
    seed,
    plan,
    rig,
    found,
    ...sinks,
    faults: drawFaults(random.fork("faults"), rig, plan),
    restartSeconds: random.pick([45, 45, 120]),
  };
}

/** The roles that a server has a device for. */
export function drivenRoles({ without, byHand }: Storm["rig"]): readonly RoleName[] {
  return roleNames.filter((role) => !without.includes(role) && !byHand.some((hand) => hand === role));
}

function drawRig(random: Random): Storm["rig"] {
  const protocol = often<Storm["rig"]["protocol"]>(
    [
      ["indi", 45],
      ["alpaca", 35],
      [
        random.pick<RoleName[]>([["cover"], ["mount"], ["camera", "cover"], ["mount", "weather", "dome"]]),
        20,
      ],
    ],
    random,
  );
  const leaveOut = (role: RoleName, chance: number) => (random.uniform() < chance ? [role] : []);
  const without = [
    ...leaveOut("dome", 0.4),
    ...leaveOut("weather", 0.25),
    ...leaveOut("focuser", 0.3),
    ...leaveOut("rotator", 0.5),
    ...leaveOut("wheel", 0.4),
    ...leaveOut("cover", 0.12),
  ];
  const byHand = (["cover", "diffuser"] as const).filter(
    (role) => !without.includes(role) && random.uniform() < 0.06,
  );
  const person = random.pick<PersonKind>(["obliging", "obliging", "lying", "absent", "late"]);
  return {
    protocol,
    without,
    byHand,
    ...(byHand.length > 0 && { person }),
    silenceSecondsMax: random.pick([10, 60, 60]),
  };
}

function drawFound(random: Random, { without }: Storm["rig"]): Storm["found"] {
  const pointing = often<Storm["found"]["pointing"]>(
    [
      ["parked", 50],
      ["atSun", 35],
      ["away", 15],
    ],
    random,
  );
  return {
    pointing,
    cover: random.uniform() < 0.4 ? "open" : "closed",
    diffuserIn: random.uniform() < 0.1,
    domeOpen: without.includes("dome") || random.uniform() < 0.75,
  };
}

function drawFaults(random: Random, rig: Storm["rig"], plan: PlanName): StormFault[] {
  const count = often(
    [
      [0, 5],
      [1, 50],
      [2, 40],
      [3, 5],
    ],
    random,
  );
  return Array.from({ length: count }, (_, index) =>
    drawFault(random.fork(`fault ${index}`), { rig, plan, index }),
  );
}

function drawFault(
  random: Random,
  { rig, plan, index }: { readonly rig: Storm["rig"]; readonly plan: PlanName; readonly index: number },
): StormFault {
  const driven = drivenRoles(rig);
  const possible = faultKindNames.filter((name) =>
    (kindOf(name).needs ?? []).every((r) => driven.includes(r)),
  );
  const kind = often<FaultKind>(
    possible.map((name) => [name, kindOf(name).weight ?? 1]),
    random,
  );
  const { lasts } = kindOf(kind);
  const passes = lasts === "passes" || (lasts === "either" && random.uniform() < 0.4);
  const phase: Phase =
    index > 0 && random.uniform() < 0.5 ? "afterFirst" : often(phaseWeights(plan, index), random);
  // As many in the first tenths of a second as in tens of seconds.
  const afterSeconds = rounded(
    Math.exp(random.between(Math.log(0.05), Math.log(mostAfterSeconds[phase] ?? 20))),
  );
  return {
    kind,
    draw: random.whole(0, 0x7fffffff),
    when: { phase, nth: random.whole(1, timesMost(phase, plan)), afterSeconds },
    ...(passes && { forSeconds: rounded(Math.exp(random.between(Math.log(1), Math.log(200)))) }),
  };
}

const rounded = (seconds: number) => Math.round(seconds * 1000) / 1000;
