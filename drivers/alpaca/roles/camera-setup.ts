import { resolveAll } from "../../kit/resolve-all.ts";
import type { CameraSetup, SetupInForce } from "../../roles/camera.ts";
import type { AlpacaDevice } from "../session/device.ts";
import { ensureProperty, type Property } from "../session/kept-setting.ts";
import { whole } from "../wire/values.ts";
import { holdCelsius } from "./camera-cooler.ts";
import type { CameraFacts } from "./camera-facts.ts";
import { type DeviceFrame, frameFor, readFrame, regionOf, setFrame } from "./camera-frame.ts";

export const controlMembers = {
  gain: { name: "Gain", schema: whole },
  offset: { name: "Offset", schema: whole },
} as const satisfies Record<string, Property<number>>;

/** As the camera shows it, in the role's terms and in its own. */
export async function readSetup(
  device: AlpacaDevice,
  facts: CameraFacts,
  signal: AbortSignal,
): Promise<{ setup: SetupInForce; frame: DeviceFrame }> {
  const read = (control: "gain" | "offset") => (facts[control] ? device.get(control, whole, signal) : 0);
  const { frame, ...controls } = await resolveAll({
    frame: readFrame(device, signal),
    gain: read("gain"),
    offset: read("offset"),
  });
  return { setup: { ...controls, binning: frame.binX, region: regionOf(frame) }, frame };
}

/** Sets what is given and reads it back; a change of binning alone keeps the part of the sensor. @throws ReadbackError */
export async function applySetup(
  device: AlpacaDevice,
  facts: CameraFacts,
  setup: CameraSetup,
  signal: AbortSignal,
): Promise<void> {
  if (setup.binning !== undefined || setup.region) {
    const now = await readFrame(device, signal);
    const region = setup.region ?? presentRegion(now, facts);
    await setFrame(device, frameFor(region, setup.binning ?? now.binX), signal);
  }
  for (const control of ["gain", "offset"] as const) {
    const value = setup[control];
    if (value !== undefined) await ensureProperty(device, controlMembers[control], value, signal);
  }
  if (setup.coolerCelsius !== undefined) await holdCelsius(device, setup.coolerCelsius, signal);
}

/** A frame that holds all whole binned pixels means the whole sensor, also where some pixels are left over. */
function presentRegion(frame: DeviceFrame, { widthPx, heightPx }: CameraFacts) {
  const isWhole =
    frame.numX >= Math.floor(widthPx / frame.binX) && frame.numY >= Math.floor(heightPx / frame.binY);
  return isWhole ? { xPx: 0, yPx: 0, widthPx, heightPx } : regionOf(frame);
}
