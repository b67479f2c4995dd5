import { ReadbackError } from "../../kit/errors.ts";
import { resolveAll } from "../../kit/resolve-all.ts";
import type { Region } from "../../roles/camera.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { AlpacaDevice } from "../session/device.ts";
import { whole } from "../wire/values.ts";

/** Binning and subframe as the device keeps them: start and size in binned pixels. */
export interface DeviceFrame {
  readonly binX: number;
  readonly binY: number;
  readonly startX: number;
  readonly startY: number;
  readonly numX: number;
  readonly numY: number;
}

type Part = keyof DeviceFrame;

export function readFrame(device: AlpacaDevice, signal: AbortSignal): Promise<DeviceFrame> {
  const read = (part: Part) => device.get(part.toLowerCase(), whole, signal);
  return resolveAll({
    binX: read("binX"),
    binY: read("binY"),
    startX: read("startX"),
    startY: read("startY"),
    numX: read("numX"),
    numY: read("numY"),
  });
}

/** In unbinned pixels. */
export function regionOf(frame: DeviceFrame): Region {
  return {
    xPx: frame.startX * frame.binX,
    yPx: frame.startY * frame.binY,
    widthPx: frame.numX * frame.binX,
    heightPx: frame.numY * frame.binY,
  };
}

/** The largest frame of whole binned pixels inside a region of unbinned ones. */
export function frameFor(region: Region, binning: number): DeviceFrame {
  return {
    binX: binning,
    binY: binning,
    startX: Math.floor(region.xPx / binning),
    startY: Math.floor(region.yPx / binning),
    numX: Math.max(1, Math.floor(region.widthPx / binning)),
    numY: Math.max(1, Math.floor(region.heightPx / binning)),
  };
}

/**
 * Binning first: cameras keep the numbers of the subframe, which then mean another region. Nothing is checked by the
 * device before the exposure begins, so each number is read back here.
 * @throws ReadbackError, AscomError
 */
export async function setFrame(
  device: AlpacaDevice,
  wanted: DeviceFrame,
  signal: AbortSignal,
): Promise<void> {
  const now = await readFrame(device, signal);
  // A start that would leave the sensor together with the old size is refused by some cameras: sizes go between.
  const shrinks = wanted.numX < now.numX || wanted.numY < now.numY;
  const order: readonly Part[] = shrinks
    ? ["binX", "binY", "numX", "numY", "startX", "startY"]
    : ["binX", "binY", "startX", "startY", "numX", "numY"];
  const binningChanges = wanted.binX !== now.binX || wanted.binY !== now.binY;
  for (const part of order) {
    // A change of binning may set the other one too, and some cameras rewrite the subframe with it.
    if (now[part] === wanted[part] && !binningChanges) continue;
    const name = part[0]!.toUpperCase() + part.slice(1);
    await device.put(part.toLowerCase(), { [name]: wanted[part] }, signal);
  }
  const found = await readFrame(device, signal);
  for (const part of order) {
    if (found[part] !== wanted[part]) throw new ReadbackError(device.name, part, wanted[part], found[part]);
  }
}

/** Binning and subframe together, since neither means anything without the other. */
export function frameSetting(device: AlpacaDevice): KeptSetting {
  const same = (a: unknown, b: unknown) => String(a) === String(b);
  return {
    key: "region",
    unit: "binning x, y; start x, y and width, height in binned px",
    async read(signal) {
      const { binX, binY, startX, startY, numX, numY } = await readFrame(device, signal);
      return [binX, binY, startX, startY, numX, numY];
    },
    async restore(value, signal) {
      const [binX = 1, binY = 1, startX = 0, startY = 0, numX = 0, numY = 0] = value as readonly number[];
      if (same(value, await this.read(signal))) return;
      await setFrame(device, { binX, binY, startX, startY, numX, numY }, signal);
    },
    same,
  };
}
