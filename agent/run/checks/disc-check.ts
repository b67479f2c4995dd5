import type { Site } from "../../../drivers/roles/mount.ts";
import type { Plan } from "../../../plans/plan-file.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { DiscOnFrame } from "../../procedures/flat/disc-on-frame.ts";
import { lackOfRoom } from "../../procedures/flat/room-to-blur.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import type { CheckResult } from "./check-result.ts";

/** The camera's pixels, and how they are read out. */
export interface SensorInUse {
  readonly pixelMicron: number;
  readonly binning: number;
  /** As binned. */
  readonly shape: DiscOnFrame["shape"];
}

/** So far a stated focal length may be off. */
const focalLengthDoubt = 0.05;
const about = { check: "disc", kind: "input" } as const;

/** The Sun's disc against the frame, for each flat of a plan, as far as the rig file tells of the image's scale. */
export function checkDisc(
  { plan, rigFile }: { readonly plan: Plan; readonly rigFile: RigFile },
  { pixelMicron, binning, shape }: SensorInUse,
  nowUtcMs: number,
): readonly CheckResult[] {
  const { focalLengthMm } = rigFile.optics;
  if (!(pixelMicron > 0))
    return [{ ...about, verdict: "not made", text: "the camera does not tell how large its pixels are" }];
  const discRadiusPx = discRadiusOnSensorPx(rigFile.site, { focalLengthMm, pixelMicron, binning }, nowUtcMs);
  const { widthPx, heightPx } = shape;
  const size = `the Sun measures ${(2 * discRadiusPx).toFixed(0)} px in a frame of ${widthPx} x ${heightPx} px`;
  const binned = binning === 1 ? "" : `, binned ${binning} x ${binning}`;
  const scale = `with ${focalLengthMm} mm of focal length and pixels of ${pixelMicron} µm${binned}`;
  const lacking = plan.steps.flatMap((step, index): CheckResult[] => {
    if (step.step !== "flat" || step.blur === "diffuser") return [];
    const lack = lackOfRoom(step.blur, { shape, discRadiusPx });
    if (!lack) return [];
    // Focal lengths are stated a few percent wrong; what is near the limit is judged once the disc has been measured.
    const isNear = discRadiusPx * (1 + focalLengthDoubt) >= lack.leastDiscRadiusPx;
    const text = `step ${index + 1} (flat by ${step.blur}): ${scale}, ${lack.message}`;
    return [{ ...about, verdict: isNear ? "doubtful" : "failed", text, whatToDo: lack.whatToDo }];
  });
  return lacking.length > 0 ? lacking : [{ ...about, verdict: "passed", text: `${size}, ${scale}` }];
}

/** The same from the rig file alone. A smaller region of the sensor may do where the whole does not: nothing fails here. */
export function checkDiscOnSensor(
  scene: { readonly plan: Plan; readonly rigFile: RigFile },
  nowUtcMs: number,
): readonly CheckResult[] {
  const { sensor } = scene.rigFile.devices.camera;
  if (!sensor) {
    const text =
      "the rig file does not tell the camera's pixels (`sensor`); the camera is asked once it is connected";
    return [{ ...about, verdict: "not made", text }];
  }
  return checkDisc(scene, { pixelMicron: sensor.pixelMicron, binning: 1, shape: sensor }, nowUtcMs).map(
    (result) => (result.verdict === "failed" ? { ...result, verdict: "doubtful" } : result),
  );
}

function discRadiusOnSensorPx(
  site: Site,
  { focalLengthMm, pixelMicron, binning }: { focalLengthMm: number; pixelMicron: number; binning: number },
  nowUtcMs: number,
): number {
  const radians = (sunFromSite(nowUtcMs, site).semidiameterArcsec / 3600) * (Math.PI / 180);
  return (focalLengthMm * 1000 * Math.tan(radians)) / (pixelMicron * binning);
}
