import { devicesOf, type Rig } from "../../../drivers/roles/rig.ts";
import type { Plan } from "../../../plans/plan-file.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { binnedShape } from "../../procedures/flat/disc-on-frame.ts";
import { type LackOfRoom, lackOfRoom } from "../../procedures/flat/room-to-blur.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import type { GuardWatch } from "../guard/condition.ts";
import { checkConditionsOnce, type GuardTools } from "../guard/guard.ts";
import { RunRefusedError } from "../record/run-errors.ts";
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

/** So far a stated focal length may be off. */
const focalLengthDoubt = 0.05;

/**
 * What can be judged only with the devices connected, before any of them moves.
 * @throws RunRefusedError
 */
export async function checkRig(check: RigCheck): Promise<void> {
  const { rig } = check;
  for (const device of devicesOf(rig)) {
    check.note("device", { role: device.role, device: device.name, abilities: device.describe() });
  }
  const tooSmall = await discsTooSmall(check);
  if (tooSmall.length > 0) {
    throw new RunRefusedError(
      "input",
      tooSmall.map(({ message }) => message).join("; "),
      tooSmall.map(({ whatToDo }) => whatToDo).join(" "),
    );
  }
  const missing = missingAbilities(check);
  if (missing.length > 0) {
    throw new RunRefusedError(
      "input",
      missing.join("; "),
      "Change the plan, or use a device that can; `evenfield probe --rig RIG` lists what each can do.",
    );
  }
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

function missingAbilities({ rig: { camera }, plan }: RigCheck): string[] {
  const { min, max } = camera.limits.exposureSeconds;
  return plan.steps.flatMap((step, index) => {
    const seconds = step.step === "darks" ? step.exposureSeconds : undefined;
    if (seconds === undefined || (seconds >= min && seconds <= max)) return [];
    const asks = `step ${index + 1} (darks) asks for ${seconds} s`;
    return [`${asks}, and ${camera.name} exposes from ${min} to ${max} s`];
  });
}

/**
 * Flats whose blur needs a larger disc than this rig can picture, as far as the rig file tells of its scale. Focal
 * lengths are stated a few percent wrong; what is near the limit is judged once the disc has been measured.
 */
async function discsTooSmall({ rig, rigFile, plan, clock, signal }: RigCheck): Promise<LackOfRoom[]> {
  const { pixelMicron } = rig.camera.limits;
  if (!(pixelMicron > 0)) return [];
  const { focalLengthMm } = rigFile.optics;
  const setup = await rig.camera.setup(signal);
  const { binning } = setup;
  const shape = binnedShape(setup);
  const radians = (sunFromSite(clock.nowMs(), rigFile.site).semidiameterArcsec / 3600) * (Math.PI / 180);
  const discRadiusPx = (focalLengthMm * 1000 * Math.tan(radians)) / (pixelMicron * binning);
  return plan.steps.flatMap((step, index) => {
    if (step.step !== "flat" || step.blur === "diffuser") return [];
    const lack = lackOfRoom(step.blur, { shape, discRadiusPx });
    if (!lack || discRadiusPx * (1 + focalLengthDoubt) >= lack.leastDiscRadiusPx) return [];
    const scale =
      `step ${index + 1} (flat by ${step.blur}): with ${focalLengthMm} mm of focal length and pixels of ` +
      `${pixelMicron} µm${binning === 1 ? "" : `, binned ${binning} x ${binning}`}`;
    return [{ ...lack, message: `${scale}, ${lack.message}` }];
  });
}
