import type { CameraSetup } from "../../../drivers/roles/camera.ts";
import type { Shape } from "../../imaging/numerics/shape.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import type { CameraOnSky } from "../findings.ts";
import type { Workbench } from "../step.ts";
import { StepError } from "../step-error.ts";

/** How large the Sun's disc is on the frames that the camera is set up for. */
export interface DiscOnFrame {
  readonly camera: CameraOnSky;
  /** As binned. */
  readonly shape: Shape;
  readonly binning: number;
  readonly discRadiusPx: number;
}

/** @param way of taking a flat, for the message. @throws StepError when the rig has never been centred; nothing moves */
export async function discOnFrame(bench: Workbench, way: string, signal: AbortSignal): Promise<DiscOnFrame> {
  const camera = bench.findings.cameraOnSky;
  if (!camera)
    throw new StepError(
      "CAMERA_ON_SKY_UNKNOWN",
      `a flat by ${way} needs the camera's scale and angle, and this rig has never been centred on the Sun`,
      "Put a `centre` step before the flat.",
    );
  const setup = await bench.rig.camera.setup(signal);
  const { semidiameterArcsec } = sunFromSite(bench.clock.nowMs(), bench.site);
  return {
    camera,
    shape: binnedShape(setup),
    binning: setup.binning,
    discRadiusPx: semidiameterArcsec / camera.arcsecPerPx,
  };
}

/** Of the frames that the camera is set up for. */
export function binnedShape({ region, binning }: Required<Pick<CameraSetup, "region" | "binning">>): Shape {
  return { widthPx: Math.floor(region.widthPx / binning), heightPx: Math.floor(region.heightPx / binning) };
}
