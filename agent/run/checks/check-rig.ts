import type { Camera } from "../../../drivers/roles/camera.ts";
import { devicesOf, type Rig } from "../../../drivers/roles/rig.ts";
import type { Plan } from "../../../plans/plan-file.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { binnedShape } from "../../procedures/flat/disc-on-frame.ts";
import type { GuardWatch } from "../guard/condition.ts";
import { checkConditionsOnce, type GuardTools } from "../guard/guard.ts";
import { RunRefusedError } from "../record/run-errors.ts";
import { type CheckResult, refuseFailed } from "./check-result.ts";
import { checkDisc } from "./disc-check.ts";
import { type BeliefCheck, checkMountBelief } from "./mount-belief.ts";

export interface RigCheck extends GuardTools {
  readonly rig: Rig;
  readonly rigFile: RigFile;
  readonly plan: Plan;
  readonly watches: readonly GuardWatch[];
  readonly unattended: boolean;
  note(event: string, fields?: Readonly<Record<string, unknown>>): void;
  /** To whoever watches. */
  warn(text: string): void;
}

/**
 * What can be judged only with the devices connected, before any of them moves.
 * @throws RunRefusedError
 */
export async function checkRig(check: RigCheck): Promise<void> {
  const { rig } = check;
  for (const device of devicesOf(rig)) {
    check.note("device", { role: device.role, device: device.name, abilities: device.describe() });
  }
  refuseFailed(await listRigChecks(check));
  await checkBelief(check);
  const reasons = await checkConditionsOnce(check.watches, check);
  if (reasons.length > 0) {
    const left = (await isOpenToSky(rig, check.signal)) ? ", and the dome's shutter is open" : "";
    throw new RunRefusedError(
      "safety",
      reasons.join("; "),
      `Start again when this is over; nothing has moved${left}.`,
    );
  }
}

/** Nobody is there to see where the mount really points; a person is told, and sees. @throws RunRefusedError */
async function checkBelief({
  rig: { mount },
  rigFile,
  unattended,
  note,
  warn,
  ...tools
}: RigCheck): Promise<void> {
  if (!mount) return;
  const checks = await checkMountBelief(mount, rigFile.site, tools);
  for (const { what, verdict, text } of checks) note(`the mount's ${what}: ${verdict}`, { text });
  const told = (which: BeliefCheck["verdict"]) => checks.filter(({ verdict }) => verdict === which);
  const wrong = told("wrong").map(({ text }) => `${mount.name}: ${text}`);
  if (wrong.length > 0 && unattended)
    throw new RunRefusedError(
      "safety",
      wrong.join("; "),
      "Set right what is wrong of the two, the mount or the rig file and this computer's clock; `evenfield probe --rig RIG` shows both. Nothing has moved.",
    );
  for (const text of wrong) warn(`${text}. The mount may point elsewhere than it says.`);
  const unchecked = told("not checked").map(({ text }) => text);
  if (unchecked.length > 0) warn(`${mount.name}: ${unchecked.join("; ")}: not checked.`);
}

async function isOpenToSky({ dome }: Rig, signal: AbortSignal): Promise<boolean> {
  const state = await dome?.state(signal).catch(() => undefined);
  return state?.shutter === "open";
}

/** What of the plan these devices can't do, as far as they tell; asks the camera for its set-up and changes nothing. */
export async function listRigChecks({
  rig: { camera },
  rigFile,
  plan,
  clock,
  signal,
}: Pick<RigCheck, "rig" | "rigFile" | "plan" | "clock" | "signal">): Promise<readonly CheckResult[]> {
  const setup = await camera.setup(signal);
  const { binning } = setup;
  const sensor = { pixelMicron: camera.limits.pixelMicron, binning, shape: binnedShape(setup) };
  return [...checkDisc({ plan, rigFile }, sensor, clock.nowMs()), ...checkAbilities(camera, plan)];
}

function checkAbilities(camera: Camera, plan: Plan): CheckResult[] {
  const { min, max } = camera.limits.exposureSeconds;
  return plan.steps.flatMap((step, index): CheckResult[] => {
    const seconds = step.step === "darks" ? step.exposureSeconds : undefined;
    if (seconds === undefined || (seconds >= min && seconds <= max)) return [];
    return [
      {
        check: "abilities",
        verdict: "failed",
        kind: "input",
        text: `step ${index + 1} (darks) asks for ${seconds} s, and ${camera.name} exposes from ${min} to ${max} s`,
        whatToDo:
          "Change the plan, or use a device that can; `evenfield probe --rig RIG` lists what each can do.",
      },
    ];
  });
}
