import { dayOrTimeUtcMs } from "../../plans/fields.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { sunAbove } from "../sky/sun-day.ts";
import { semidiameterArcsec, sunPlace } from "../sky/sun-place.ts";
import { wrongInput } from "./outcome.ts";
import { fitSensor } from "./rehearsed-sensor.ts";

export interface RehearsedScene {
  readonly spec: SceneSpec;
  /** With the filter's statement as old on the day of the rehearsal as it is today. */
  readonly rigFile: RigFile;
  /** What the rig file does not tell and the scene holds all the same. */
  readonly notes: readonly string[];
}

const dayMs = 86_400_000;
/** Above the plan's lowest altitude, so that the Sun does not sink below it at once [degrees]. */
const marginDegrees = 3;

/**
 * The world round a rig: its site and optics as the rig file has them, the Sun of the next hours in which it stands high
 * enough, and for what no rig file tells (camera, sky, the mount's faults) that of another scene. A rig file that was
 * written for that scene has it unchanged.
 * @throws CommandError where the Sun does not climb so high within a year
 */
export function sceneForRig(
  rigFile: RigFile,
  { altitudeDegreesMin }: { readonly altitudeDegreesMin: number },
  base: SceneSpec,
  nowUtcMs: number,
): RehearsedScene {
  const { optics, devices } = rigFile;
  const { timeZone: _, ...site } = rigFile.site; // the sky keeps no calendar
  if (isSame(site, base.site) && isSame(optics, base.optics) && isOfScene(devices.camera, base))
    return { spec: base, rigFile, notes: [] };
  const startUtcMs = nextUsableUtcMs(site, altitudeDegreesMin + marginDegrees, nowUtcMs);
  const fitted = fitSensor(base, devices.camera, optics.wavelengthNm);
  const spec: SceneSpec = {
    ...fitted.spec,
    site,
    optics: { ...base.optics, ...optics },
    startUtc: new Date(startUtcMs).toISOString(),
    startsWith: {
      ...fitted.spec.startsWith,
      cover: devices.cover ? base.startsWith.cover : "open",
      diffuserInPlace: false,
    },
  };
  const { sensor } = devices.camera;
  const { widthPx, heightPx, pixelMicron } = spec.camera;
  const discPx = discDiameterPx(spec, startUtcMs);
  const laterDays = Math.floor((startUtcMs - nowUtcMs) / dayMs);
  return {
    spec,
    rigFile: laterDays < 1 ? rigFile : confirmLater(rigFile, laterDays),
    notes: [
      sensor
        ? `how the camera's wells, noise and converter are; on its ${widthPx} x ${heightPx} pixels of ${pixelMicron} µm the Sun measures ${discPx.toFixed(0)} pixels`
        : `the camera: ${widthPx} x ${heightPx} pixels of ${pixelMicron} µm, on which the Sun measures ${discPx.toFixed(0)} pixels`,
      ...(fitted.note === undefined ? [] : [fitted.note]),
      "the Sun's face, the sky, the dust, and the faults of mount and focuser",
      `the time: ${spec.startUtc.slice(0, 16).replace("T", " ")} UTC, when the Sun stands high enough`,
    ],
  };
}

function confirmLater(rigFile: RigFile, days: number): RigFile {
  const { sunFilter } = rigFile;
  const later = new Date(dayOrTimeUtcMs(sunFilter.lastConfirmed) + days * dayMs).toISOString();
  return { ...rigFile, sunFilter: { ...sunFilter, lastConfirmed: `${later.slice(0, 16)}Z` } };
}

/** Whether a rig file states no other sensor than the scene has. */
function isOfScene({ sensor, filterArray }: RigFile["devices"]["camera"], { camera }: SceneSpec): boolean {
  if (filterArray !== undefined && camera.mosaic?.pattern !== filterArray) return false;
  return sensor === undefined || isSame(sensor, camera as unknown as Record<string, number>);
}

function isSame(wanted: Readonly<Record<string, number>>, has: Readonly<Record<string, number>>): boolean {
  return Object.entries(wanted).every(([key, value]) => has[key] === value);
}

/** A quarter into the time of that day in which it stands so high, or now if that is later and there is time left. */
function nextUsableUtcMs(site: RigFile["site"], altitudeDegrees: number, nowUtcMs: number): number {
  for (let day = 0; day <= 366; day++) {
    const window = sunAbove(nowUtcMs + day * dayMs, site, altitudeDegrees);
    if (!window) continue;
    const { fromUtcMs, toUtcMs } = window;
    const early = fromUtcMs + (toUtcMs - fromUtcMs) / 4;
    const middle = (fromUtcMs + toUtcMs) / 2;
    if (nowUtcMs < middle) return Math.max(early, nowUtcMs);
  }
  throw wrongInput(
    "Nothing was started.",
    `Where this rig stands the Sun does not climb to ${altitudeDegrees}° within a year.`,
    "Look at the site in the rig file, and at `sun.altitudeDegreesMin` in the plan.",
  );
}

function discDiameterPx({ camera, optics }: SceneSpec, utcMs: number): number {
  const radiusRadians = (semidiameterArcsec(sunPlace(utcMs).distanceAu) / 3600) * (Math.PI / 180);
  return (2 * Math.tan(radiusRadians) * optics.focalLengthMm * 1000) / camera.pixelMicron;
}
