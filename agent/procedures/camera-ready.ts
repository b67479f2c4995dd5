import { given } from "../../drivers/kit/given.ts";
import { statesConversion } from "../../drivers/roles/camera.ts";
import type { Workbench } from "./step.ts";

/**
 * Flats and what belongs to them are taken at the gain that the plan names; else at the lowest: the well is deepest there,
 * and photons are what counts.
 */
export async function setFlatGain(bench: Workbench, signal: AbortSignal): Promise<number> {
  const { camera } = bench.rig;
  const gain = bench.plannedGain ?? camera.limits.gain?.min;
  const setup = await camera.configure(given({ gain }), signal);
  const electronsPerAdu = statesConversion(camera) ? await camera.electronsPerAdu(signal) : undefined;
  if (electronsPerAdu !== undefined) bench.findings.statedConversion = { electronsPerAdu, gain: setup.gain };
  return setup.gain;
}
