import { MissingAbilityError, ReadbackError } from "../../kit/errors.ts";
import type { Region } from "../../roles/camera.ts";
import type { IndiDevice } from "../session/device.ts";
import { ensureValues, quickChangeSeconds } from "../session/kept-setting.ts";
import { numberIn, type PropertyVector } from "../wire/property.ts";
import type { NumberPlace } from "./camera-controls.ts";

/** A camera rounds a region to whole blocks of its sensor; further off than this is a refusal [px]. */
const roundingPx = 16;

export function regionOf(frame: PropertyVector | undefined): Region | undefined {
  const [xPx, yPx, widthPx, heightPx] = ["X", "Y", "WIDTH", "HEIGHT"].map((name) => numberIn(frame, name));
  if (xPx === undefined || yPx === undefined || widthPx === undefined || heightPx === undefined)
    return undefined;
  return { xPx, yPx, widthPx, heightPx };
}

/** Binning first, then the region again: several cameras lose or mis-scale it when the binning changes. */
export async function setBinning(device: IndiDevice, binning: number, signal: AbortSignal): Promise<void> {
  const before = regionOf(device.property("CCD_FRAME"));
  await ensureValues(device, "CCD_BINNING", { HOR_BIN: binning, VER_BIN: binning }, signal);
  if (before) await setRegion(device, before, signal, { always: true });
}

/** @throws ReadbackError if the camera's region differs by more than its rounding */
export async function setRegion(
  device: IndiDevice,
  region: Region,
  signal: AbortSignal,
  options: { always: boolean },
): Promise<void> {
  if (!device.property("CCD_FRAME"))
    throw new MissingAbilityError(device.name, "this camera has no region to set");
  const present = await device.refresh("CCD_FRAME", {}, signal);
  if (!options.always && largestDifference(regionOf(present), region) === 0 && present.state !== "Alert")
    return;
  const found = await device.change(
    "CCD_FRAME",
    { X: region.xPx, Y: region.yPx, WIDTH: region.widthPx, HEIGHT: region.heightPx },
    {
      withinSeconds: quickChangeSeconds,
      finalStates: ["Ok", "Idle"],
      arrived: (vector) => largestDifference(regionOf(vector), region) <= roundingPx,
    },
    signal,
  );
  if (largestDifference(regionOf(found), region) > roundingPx) {
    throw new ReadbackError(device.name, "region", JSON.stringify(region), JSON.stringify(regionOf(found)));
  }
}

function largestDifference(a: Region | undefined, b: Region): number {
  if (!a) return Number.POSITIVE_INFINITY;
  return Math.max(
    Math.abs(a.xPx - b.xPx),
    Math.abs(a.yPx - b.yPx),
    Math.abs(a.widthPx - b.widthPx),
    Math.abs(a.heightPx - b.heightPx),
  );
}

export async function setControl(
  device: IndiDevice,
  place: NumberPlace | undefined,
  value: number | undefined,
  signal: AbortSignal,
): Promise<void> {
  if (place && value !== undefined)
    await ensureValues(device, place.property, { [place.element]: value }, signal);
}
