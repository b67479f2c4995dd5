import { MissingAbilityError } from "../../kit/errors.ts";
import type { CommandValues } from "../session/command.ts";
import type { IndiDevice } from "../session/device.ts";
import { ensureValues } from "../session/kept-setting.ts";
import { type PropertyVector, switchesOn } from "../wire/property.ts";

/** Switches that must stand so that every frame comes to us whole, one at a time, with its header. First found counts. */
const wanted: readonly { readonly property: string; readonly on: readonly string[] }[] = [
  { property: "CCD_VIDEO_STREAM", on: ["STREAM_OFF"] },
  { property: "UPLOAD_MODE", on: ["UPLOAD_CLIENT"] },
  { property: "CCD_FAST_TOGGLE", on: ["INDI_DISABLED"] },
  { property: "CCD_COMPRESSION", on: ["INDI_DISABLED", "CCD_RAW"] }, // the second until 1.9.4
  { property: "CCD_TRANSFER_FORMAT", on: ["FORMAT_FITS"] },
];

/** The properties that `prepareTransport` may change, for the baseline. */
export const transportProperties: readonly string[] = [
  ...wanted.map(({ property }) => property),
  "CCD_CONTROLS_MODE",
];

/**
 * Brings the camera's own way of sending frames into the state that we can work with. The capture format comes first,
 * because it resets the frame and may change the bit depth.
 */
export async function prepareTransport(
  device: IndiDevice,
  captureFormat: string | undefined,
  signal: AbortSignal,
): Promise<void> {
  await chooseCaptureFormat(device, captureFormat, signal);
  for (const { property, on } of wanted) {
    const vector = device.property(property);
    const element = on.find((name) => vector?.elements.has(name));
    if (vector && element !== undefined)
      await ensureValues(device, property, onlyOn(vector, [element]), signal);
  }
  // Whatever the camera would regulate by itself (exposure, gain, white balance) would make the frames differ.
  const automatic = device.property("CCD_CONTROLS_MODE");
  if (automatic && switchesOn(automatic).length > 0) {
    await ensureValues(device, "CCD_CONTROLS_MODE", onlyOn(automatic, []), signal);
  }
}

async function chooseCaptureFormat(
  device: IndiDevice,
  configured: string | undefined,
  signal: AbortSignal,
): Promise<void> {
  let formats = device.property("CCD_CAPTURE_FORMAT");
  if (!formats) return;
  // The list may be empty on the first connect: asked for once more by its name.
  if (formats.elements.size === 0) formats = await device.refresh("CCD_CAPTURE_FORMAT", {}, signal);
  const [present] = switchesOn(formats);
  const best = configured ?? deepestMono(formats, present);
  if (best !== undefined && best !== present) {
    await ensureValues(device, "CCD_CAPTURE_FORMAT", onlyOn(formats, [best]), signal);
  }
}

/** Of a single-plane format its depth, by name and label; 0 of one that has several planes, or is compressed. */
function depthOf(formats: PropertyVector, name: string): number {
  const text = `${name} ${formats.elements.get(name)?.label ?? ""}`;
  if (/rgb|colou?r|yuv|jpe?g|luma/i.test(text)) return 0;
  const depth = /(?<!\d)(8|10|12|14|16)(?!\d)/.exec(text)?.[1];
  return depth === undefined ? 13 : Number(depth); // not stated: between a stated 12 and a stated 14 bits
}

/** @throws MissingAbilityError of a camera whose formats all have several planes; one that lists none may have any */
export function checkCaptureFormats(device: IndiDevice, configured: string | undefined): void {
  const formats = device.property("CCD_CAPTURE_FORMAT");
  const names = [...(formats?.elements.keys() ?? [])];
  if (!formats || configured !== undefined || names.length === 0) return;
  if (names.some((name) => depthOf(formats, name) > 0)) return;
  throw new MissingAbilityError(
    device.name,
    `a camera that gives three planes is of no use here, and all of its formats look so (${names.join(", ")}); if one does not, name it as \`captureFormat\` in the rig file`,
  );
}

/** Deepest of the single-plane formats; the present one if none is better. */
export function deepestMono(formats: PropertyVector, present: string | undefined): string | undefined {
  const score = (name: string) => depthOf(formats, name);
  let best = present;
  for (const name of formats.elements.keys()) {
    if (best === undefined || score(name) > score(best)) best = name;
  }
  return best;
}

function onlyOn(vector: PropertyVector, on: readonly string[]): CommandValues {
  return Object.fromEntries([...vector.elements.keys()].map((name) => [name, on.includes(name)]));
}
