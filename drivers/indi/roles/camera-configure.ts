import { MissingAbilityError, OutOfLimitsError, ReadbackError } from "../../kit/errors.ts";
import type { CameraSetup, Region } from "../../roles/camera.ts";
import type { Range } from "../../roles/device.ts";
import type { IndiDevice } from "../session/device.ts";
import { ensureValues, quickChangeSeconds } from "../session/kept-setting.ts";
import { numberIn, type PropertyVector } from "../wire/property.ts";
import type { NumberPlace } from "./camera-controls.ts";

/** What a camera can be set to, as far as a set-up needs it. */
export interface SetupLimits {
  readonly gain: Range | undefined;
  readonly offset: Range | undefined;
  readonly binning: Range;
  readonly sensorPx: { readonly widthPx: number; readonly heightPx: number };
}

/** A camera rounds a region to whole blocks of its sensor; further off than this is a refusal [px]. */
const roundingPx = 16;

/** @throws OutOfLimitsError, MissingAbilityError: all of it before anything is sent */
export function checkSetup(device: IndiDevice, setup: CameraSetup, limits: SetupLimits): void {
  const inside = (what: string, value: number | undefined, range: Range | undefined) => {
    if (value === undefined) return;
    if (!range) throw new MissingAbilityError(device.name, `this camera has no ${what} to set`);
    if (!(value >= range.min && value <= range.max)) {
      throw new OutOfLimitsError(device.name, what, value, `${range.min} to ${range.max}`);
    }
  };
  inside("gain", setup.gain, limits.gain);
  inside("offset", setup.offset, limits.offset);
  inside("binning", setup.binning, limits.binning);
  if (setup.binning !== undefined && !Number.isInteger(setup.binning)) {
    throw new OutOfLimitsError(device.name, "binning", setup.binning, "whole numbers");
  }
  if (setup.region) checkRegion(device, setup.region, limits.sensorPx);
}

function checkRegion(
  device: IndiDevice,
  region: Region,
  sensor: { widthPx: number; heightPx: number },
): void {
  const { xPx, yPx, widthPx, heightPx } = region;
  const whole = [xPx, yPx, widthPx, heightPx].every((value) => Number.isInteger(value) && value >= 0);
  if (
    whole &&
    widthPx > 0 &&
    heightPx > 0 &&
    xPx + widthPx <= sensor.widthPx &&
    yPx + heightPx <= sensor.heightPx
  )
    return;
  throw new OutOfLimitsError(
    device.name,
    "region",
    `${widthPx} x ${heightPx} at ${xPx}, ${yPx}`,
    `whole pixels inside ${sensor.widthPx} x ${sensor.heightPx}`,
  );
}

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
  value: number,
  signal: AbortSignal,
): Promise<void> {
  if (!place) return;
  await ensureValues(device, place.property, { [place.element]: value }, signal);
}
