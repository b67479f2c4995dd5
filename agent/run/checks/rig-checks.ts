import type { Camera } from "../../../drivers/roles/camera.ts";
import type { Mount } from "../../../drivers/roles/mount.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { Plan } from "../../../plans/plan-file.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { binnedShape } from "../../procedures/flat/disc-on-frame.ts";
import type { GuardTools } from "../guard/guard.ts";
import type { CheckResult } from "./check-result.ts";
import { checkDisc } from "./disc-check.ts";

interface PlanOnDevices extends GuardTools {
  readonly rig: Rig;
  readonly rigFile: RigFile;
  readonly plan: Plan;
}

/** What of the plan these devices can't do, as far as they tell; asks the camera for its set-up and changes nothing. */
export async function listRigChecks({
  rig: { camera, mount },
  rigFile,
  plan,
  clock,
  signal,
}: PlanOnDevices): Promise<readonly CheckResult[]> {
  const setup = await camera.setup(signal);
  const { binning } = setup;
  const sensor = { pixelMicron: camera.limits.pixelMicron, binning, shape: binnedShape(setup) };
  return [
    ...checkDisc({ plan, rigFile }, sensor, clock.nowMs()),
    ...checkAbilities(camera, plan),
    ...checkColour(camera, plan),
    ...checkRate(mount, plan),
  ];
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

/** Centring and images do with a mosaic; what judges a flat takes its colours for structure. */
function checkColour({ name, limits: { colourFilterArray } }: Camera, plan: Plan): CheckResult[] {
  const index = plan.steps.findIndex(({ step }) => step === "leak-check" || step === "flat");
  if (colourFilterArray === undefined || index < 0) return [];
  return [
    {
      check: "colour",
      verdict: "failed",
      kind: "input",
      text: `step ${index + 1} (${plan.steps[index]!.step}): the pixels of ${name} lie behind a colour filter array (${colourFilterArray}), and flats are taken with monochrome cameras only`,
      whatToDo:
        "Use a monochrome camera; or take the frames with another program and give them to `evenfield calibrate`, which divides each colour at its own level.",
    },
  ];
}

function checkRate(mount: Mount | undefined, plan: Plan): CheckResult[] {
  const index = plan.steps.findIndex(({ step }) => step === "centre");
  if (!mount || mount.abilities.solarRate || index < 0) return [];
  return [
    {
      check: "solar rate",
      verdict: "failed",
      kind: "input",
      text: `step ${index + 1} (centre) follows the Sun, and ${mount.name} has no solar tracking rate`,
      whatToDo: "Use a mount or a driver that tracks at the solar rate.",
    },
  ];
}
