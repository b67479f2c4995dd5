import type { CameraMechanics } from "./mechanics/camera.ts";
import type { DomeMechanics } from "./mechanics/dome.ts";
import type { MountMechanics } from "./mechanics/mount.ts";

/** Setting → value of one part. */
export type PartAccount = Readonly<Record<string, number | string | boolean>>;

/** Device → setting → value. */
export type WorldAccount = Readonly<Record<string, Readonly<Record<string, unknown>>>>;

/** How far two accounts of a setting may lie apart and still be the same [the setting's own unit]. */
const tolerances: Readonly<Record<string, number>> = {
  "mount.hourAngleDegrees": 0.02,
  "mount.raHours": 0.002,
  "mount.decDegrees": 0.02,
  "rotator.degrees": 0.05,
  "dome.azimuthDegrees": 0.5,
  "focuser.steps": 0.5,
};

export function cameraAccount(camera: CameraMechanics): PartAccount {
  const { gain, offset, binning, region, frameType } = camera.inForce;
  return {
    phase: camera.phase,
    gain,
    offset,
    binning,
    region: Object.values(region).join(" "),
    frameType,
    coolerOn: camera.coolerOn,
    coolerCelsius: camera.coolerCelsius,
  };
}

export function mountAccount(mount: MountMechanics): PartAccount {
  const axes = mount.believedAxes;
  return {
    phase: mount.phase,
    parked: mount.parked,
    tracking: mount.tracking && !mount.motorsStalled,
    rate: mount.rate,
    // A tracking mount stays on a right ascension, one that stands still on an hour angle.
    ...(mount.tracking ? { raHours: mount.believed.raHours } : { hourAngleDegrees: axes.hourAngleDegrees }),
    decDegrees: axes.decDegrees,
  };
}

export function domeAccount(dome: DomeMechanics): PartAccount {
  return {
    shutterOpen: dome.shutter.position,
    azimuthDegrees: dome.azimuthDegrees,
    parked: dome.parked,
    moving: dome.turning || dome.shutter.moving,
  };
}

/**
 * What differs between two accounts, one line each; empty when the rig is as it was.
 * Whether a driver is connected counts only if asked for: it is no property of the rig.
 */
export function accountDifferences(
  before: WorldAccount,
  now: WorldAccount,
  options: { readonly connections?: boolean } = {},
): string[] {
  const lines: string[] = [];
  for (const device of new Set([...Object.keys(before), ...Object.keys(now)])) {
    const a = before[device] ?? {};
    const b = now[device] ?? {};
    for (const key of new Set([...Object.keys(a), ...Object.keys(b)])) {
      const name = `${device}.${key}`;
      if (key === "CONNECTION" && !options.connections) continue;
      if (!same(name, a[key], b[key])) {
        lines.push(`${name} was ${JSON.stringify(a[key])} and is ${JSON.stringify(b[key])}`);
      }
    }
  }
  return lines;
}

function same(name: string, a: unknown, b: unknown): boolean {
  const tolerance = tolerances[name] ?? 1e-6;
  if (typeof a === "number" && typeof b === "number") return Math.abs(a - b) <= tolerance;
  return JSON.stringify(a) === JSON.stringify(b);
}
