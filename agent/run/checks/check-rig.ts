import { devicesOf, type Rig } from "../../../drivers/roles/rig.ts";
import type { Plan } from "../../../plans/plan-file.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { GuardWatch } from "../guard/condition.ts";
import { checkConditionsOnce, type GuardTools } from "../guard/guard.ts";
import { RunRefusedError } from "../record/run-errors.ts";
import { refuseFailed } from "./check-result.ts";
import { checkMountBelief, judgeBelief } from "./mount-belief.ts";
import { listRigChecks } from "./rig-checks.ts";

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
  const judged = judgeBelief(mount.name, checks, unattended);
  refuseFailed(judged);
  for (const { verdict, text } of judged)
    if (verdict === "doubtful") warn(`${text}. The mount may point elsewhere than it says.`);
  const unchecked = checks.filter(({ verdict }) => verdict === "not checked").map(({ text }) => text);
  if (unchecked.length > 0) warn(`${mount.name}: ${unchecked.join("; ")}: not checked.`);
}

async function isOpenToSky({ dome }: Rig, signal: AbortSignal): Promise<boolean> {
  const state = await dome?.state(signal).catch(() => undefined);
  return state?.shutter === "open";
}
