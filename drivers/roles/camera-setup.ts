import { MissingAbilityError, OutOfLimitsError } from "../kit/errors.ts";
import type { Camera, CameraSetup, Region } from "./camera.ts";
import type { Range } from "./device.ts";

/** @throws OutOfLimitsError, MissingAbilityError: all of it before anything is sent */
export function checkSetup({ name, limits }: Pick<Camera, "name" | "limits">, setup: CameraSetup): void {
  for (const what of ["gain", "offset", "binning"] as const) {
    const [value, range] = [setup[what], limits[what]];
    if (value === undefined) continue;
    if (!range) throw new MissingAbilityError(name, `this camera has no ${what} to set`);
    const mustBeWhole = range.step === 1;
    if (value >= range.min && value <= range.max && (!mustBeWhole || Number.isInteger(value))) continue;
    const allowed = `${mustBeWhole ? "the whole numbers " : ""}${range.min} to ${range.max}`;
    throw new OutOfLimitsError(name, what, value, allowed);
  }
  if (setup.region) checkRegion(name, setup.region, limits.sensorPx);
}

function checkRegion(device: string, region: Region, sensor: Camera["limits"]["sensorPx"]): void {
  const { xPx, yPx, widthPx, heightPx } = region;
  const isWhole = [xPx, yPx, widthPx, heightPx].every((value) => Number.isInteger(value) && value >= 0);
  const isInside = xPx + widthPx <= sensor.widthPx && yPx + heightPx <= sensor.heightPx;
  if (isWhole && widthPx > 0 && heightPx > 0 && isInside) return;
  throw new OutOfLimitsError(
    device,
    "region",
    `${widthPx} x ${heightPx} at ${xPx}, ${yPx}`,
    `whole pixels inside ${sensor.widthPx} x ${sensor.heightPx}`,
  );
}

/** A camera's limits in words. */
export function describeLimits(limits: Camera["limits"]) {
  const { exposureSeconds, gain, offset, binning, sensorPx, pixelMicron, fullScaleAdu } = limits;
  const { colourFilterArray } = limits;
  const range = (one: Range | undefined) => (one ? `${one.min} to ${one.max}` : "none");
  return {
    sensor: `${sensorPx.widthPx} x ${sensorPx.heightPx} px of ${pixelMicron} micron`,
    exposure: `${range(exposureSeconds)} s`,
    gain: range(gain),
    offset: range(offset),
    binning: range(binning),
    fullScale: `${fullScaleAdu} adu, ${bitDepth(fullScaleAdu)} bits`,
    colour: colourFilterArray === undefined ? "none told" : `filter array ${colourFilterArray}`,
  };
}

/** A converter of fewer bits than the word fills its upper bits: what is left to the word's end is one step of it. */
function bitDepth(fullScaleAdu: number): number {
  const wordBits = Math.ceil(Math.log2(fullScaleAdu + 1));
  return wordBits - Math.round(Math.log2(2 ** wordBits - fullScaleAdu));
}
