import { given } from "../../../drivers/kit/given.ts";
import type { CameraSetup } from "../../../drivers/roles/camera.ts";
import type { Plan } from "../../../plans/plan-file.ts";

/** The day's settings that a plan names, in the camera's terms; `undefined` where it names none. */
export function plannedSetup({ camera }: Pick<Plan, "camera">): CameraSetup | undefined {
  if (!camera) return undefined;
  const { gain, offset, binning, region, sensorCelsius } = camera;
  const setup = given({ gain, offset, binning, region, coolerCelsius: sensorCelsius });
  return Object.keys(setup).length > 0 ? setup : undefined;
}
