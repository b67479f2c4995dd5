import { type Camera, hasCooler, type SetupInForce } from "../../../drivers/roles/camera.ts";
import { checkSetup } from "../../../drivers/roles/camera-setup.ts";
import type { Mount } from "../../../drivers/roles/mount.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { Plan } from "../../../plans/plan-file.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { binnedShape } from "../../procedures/flat/disc-on-frame.ts";
import type { GuardTools } from "../guard/guard.ts";
import { plannedSetup } from "../steps/planned-setup.ts";
import type { CheckResult } from "./check-result.ts";
import { checkDisc } from "./disc-check.ts";

interface PlanOnDevices extends Pick<GuardTools, "clock"> {
  readonly setup: SetupInForce;
  readonly rig: Rig;
  readonly rigFile: RigFile;
  readonly plan: Plan;
}

/** What of the plan these devices can't do, as far as they tell. @param setup as the camera has it now */
export function listRigChecks({
  rig: { camera, mount },
  rigFile,
  plan,
  clock,
  setup,
}: PlanOnDevices): readonly CheckResult[] {
  const inUse = { ...setup, ...plannedSetup(plan) };
  const { binning } = inUse;
  const sensor = { pixelMicron: camera.limits.pixelMicron, binning, shape: binnedShape(inUse) };
  return [
    ...checkPlannedSetup(camera, plan),
    ...checkDisc({ plan, rigFile }, sensor, clock.nowMs()),
    ...checkAbilities(camera, plan),
    ...checkStatedSensor(camera, rigFile),
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

/** The day's settings against what the camera can be set to. */
function checkPlannedSetup(camera: Camera, plan: Plan): CheckResult[] {
  const setup = plannedSetup(plan);
  if (!setup) return [];
  const about = { check: "camera settings", kind: "input" } as const;
  const { colour } = camera.limits;
  const refuse = (text: string): CheckResult[] => [
    {
      ...about,
      verdict: "failed",
      text,
      whatToDo:
        "Change `camera` in the plan; `evenfield probe --rig RIG` lists what the camera can be set to.",
    },
  ];
  if (colour !== undefined && setup.binning !== undefined)
    return refuse(
      `the plan names a binning, and binned pixels of ${camera.name} are of no colour: leave it out`,
    );
  try {
    checkSetup(camera, setup);
  } catch (error) {
    return refuse(error instanceof Error ? error.message : String(error));
  }
  if (setup.coolerCelsius !== undefined && !(hasCooler(camera) && camera.cooler.canHold))
    return refuse(`${camera.name} has no cooler that holds a temperature, and the plan names one`);
  return [{ ...about, verdict: "passed", text: `${camera.name} can be set as the plan names it` }];
}

/** What the rig file states of the sensor is believed only where nobody can ask the camera. */
function checkStatedSensor({ name, limits }: Camera, { devices }: RigFile): CheckResult[] {
  const { sensor } = devices.camera;
  const { sensorPx, pixelMicron } = limits;
  if (!sensor) return [];
  const isSamePitch = !(pixelMicron > 0) || Math.abs(sensor.pixelMicron / pixelMicron - 1) < 0.02;
  if (sensor.widthPx === sensorPx.widthPx && sensor.heightPx === sensorPx.heightPx && isSamePitch) return [];
  const words = (px: typeof sensorPx, micron: number) => `${px.widthPx} x ${px.heightPx} px of ${micron} µm`;
  return [
    {
      check: "sensor",
      verdict: "doubtful",
      kind: "input",
      text: `the rig file states a sensor of ${words(sensor, sensor.pixelMicron)}, and ${name} tells of ${words(sensorPx, pixelMicron)}`,
      whatToDo: "Correct `devices.camera.sensor`, by which `evenfield check` reckons; a run asks the camera.",
    },
  ];
}

/** Centring and images do with a mosaic; what judges a flat takes its colours for structure. */
function checkColour({ name, limits: { colour, colourFilterArray } }: Camera, plan: Plan): CheckResult[] {
  const index = plan.steps.findIndex(({ step }) => step === "leak-check" || step === "flat");
  if (colourFilterArray === undefined) return [];
  const about = { check: "colour", kind: "input" } as const;
  if (colour !== undefined) {
    const text = `the ${colour} pixels of ${name}, behind a colour filter array (${colourFilterArray}), are taken for a monochrome camera`;
    return [{ ...about, verdict: "passed", text }];
  }
  if (index < 0) return [];
  return [
    {
      ...about,
      verdict: "failed",
      text: `step ${index + 1} (${plan.steps[index]!.step}): the pixels of ${name} lie behind a colour filter array (${colourFilterArray}), and flats are taken with those of one colour only`,
      whatToDo:
        "Name it as `devices.camera.colour` in the rig file, and with `filterArray` its pattern if the camera does not tell it; or take the frames with another program and give them to `evenfield calibrate`, which divides each colour at its own level.",
    },
  ];
}

function checkRate(mount: Mount | undefined, plan: Plan): CheckResult[] {
  const index = plan.steps.findIndex(({ step }) => step === "centre");
  if (!mount || mount.abilities.solarRate || index < 0) return [];
  return [
    {
      check: "solar rate",
      verdict: "doubtful",
      kind: "input",
      text: `step ${index + 1} (centre) follows the Sun, and ${mount.name} has no solar tracking rate: it follows the stars, and is moved after the Sun between exposures, 20 arcsec at a time`,
      whatToDo: "Nothing; a mount or a driver with a solar rate keeps the disc stiller.",
    },
  ];
}
