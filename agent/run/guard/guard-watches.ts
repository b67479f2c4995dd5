import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Cover } from "../../../drivers/roles/cover.ts";
import type { Device } from "../../../drivers/roles/device.ts";
import type { Dome } from "../../../drivers/roles/dome.ts";
import type { Mount } from "../../../drivers/roles/mount.ts";
import { lengthArcsec } from "../../../drivers/roles/mount-sky.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { StepFindings } from "../../procedures/findings.ts";
import type { Front } from "../../safing/front.ts";
import { separationDegrees } from "../../sky/separation.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import type { GuardWatch } from "./guard.ts";

/** How far the telescope may be off the Sun, beyond the search it was allowed [degrees]: one disc's diameter. */
const offSunDegreesMax = 0.53;
/** A slew between steps, or a step's own pointing away, takes less than this [s]. */
const offSunGraceSeconds = 45;

export interface GuardRequest {
  readonly rig: Rig;
  readonly front: Front;
  readonly rigFile: RigFile;
  readonly clock: Clock;
  readonly sunAltitudeDegreesMin: number;
  readonly freeDiskMegabytes: () => number;
  readonly findings: StepFindings;
  /** Whether the Sun matters yet: a plan may begin by waiting for it. */
  readonly looking: () => boolean;
  /** Whether the step under way is still looking for the Sun, when being off it is no fault. */
  readonly searching: () => boolean;
}

/** The guard's conditions for this rig. Brightness is watched by the procedures, which see the frames. */
export function guardWatches(request: GuardRequest): readonly GuardWatch[] {
  const { rig, rigFile } = request;
  const { mount, cover, dome, weather } = rig;
  const grace = rigFile.limits.silenceSecondsMax;
  const watched: (Device | undefined)[] = [mount, cover, dome, weather];
  return [
    sunWatch(request),
    diskWatch(request),
    ...weatherWatches(rig, grace),
    ...(dome?.abilities.shutter ? [domeWatch(dome)] : []),
    ...(mount ? [trackingWatch(mount, request)] : []),
    ...(cover ? [coverWatch(cover, request)] : []),
    ...watched.filter((device) => device !== undefined).map((device) => linkWatch(device, grace)),
  ];
}

function sunWatch({ rigFile, clock, sunAltitudeDegreesMin, looking }: GuardRequest): GuardWatch {
  return {
    name: "sun",
    everySeconds: 20,
    graceSeconds: 0,
    check: async () => {
      if (!looking()) return undefined;
      const { altitudeDegrees } = sunFromSite(clock.nowMs(), rigFile.site);
      if (altitudeDegrees >= sunAltitudeDegreesMin) return undefined;
      return `the Sun is ${altitudeDegrees.toFixed(1)}° high, below the limit of ${sunAltitudeDegreesMin}°`;
    },
  };
}

function diskWatch({ rigFile, freeDiskMegabytes }: GuardRequest): GuardWatch {
  const limit = rigFile.limits.freeDiskMegabytesMin;
  return {
    name: "disk",
    everySeconds: 30,
    graceSeconds: 0,
    check: async () => {
      const free = freeDiskMegabytes();
      if (free >= limit) return undefined;
      return `${Math.floor(free)} MB are free on the disk, below the limit of ${limit} MB`;
    },
  };
}

/** Bad weather counts at once; a station that says nothing counts after the grace. */
export function weatherWatches({ weather }: Rig, graceSeconds: number): GuardWatch[] {
  if (!weather) return [];
  const textIf = async (which: "unsafe" | "unknown", signal: AbortSignal) => {
    const { safety, reasons } = await weather.state(signal);
    const why = reasons.length > 0 ? ` (${reasons.join(", ")})` : "";
    return safety === which ? `${weather.name}: weather ${safety}${why}` : undefined;
  };
  const every = { ofWeather: true, everySeconds: 10 } as const;
  // Silence is a matter of the report alone.
  const isUnsafe = (signal: AbortSignal) => textIf("unsafe", signal).catch(() => undefined);
  const isUnknown = (signal: AbortSignal) => textIf("unknown", signal);
  return [
    { ...every, name: "weather", graceSeconds: 0, check: isUnsafe },
    { ...every, name: "weather report", graceSeconds, check: isUnknown },
  ];
}

/** Once the shutter has been seen open in this run it has to stay so. */
function domeWatch(dome: Dome): GuardWatch {
  let seenOpen = false;
  return {
    name: "dome",
    everySeconds: 10,
    graceSeconds: 10,
    check: async (signal) => {
      const { shutter } = await dome.state(signal);
      if (shutter === "open") seenOpen = true;
      return seenOpen && shutter !== "open"
        ? `${dome.name}: the shutter is ${shutter ?? "unknown"}`
        : undefined;
    },
  };
}

/** What was closed and proved stays closed until it is uncovered. */
function coverWatch(cover: Cover, { front }: GuardRequest): GuardWatch {
  const isProvedClosed = () => front.expectedClosed && front.covered.proved;
  return {
    name: "cover",
    everySeconds: 2,
    graceSeconds: 0,
    check: async (signal) => {
      if (!isProvedClosed()) return undefined;
      const state = await cover.state(signal).catch(() => undefined); // silence is the link's
      if (!isProvedClosed() || (state !== "open" && state !== "moving")) return undefined;
      return `${cover.name}: the cover reads ${state}, and this run did not open it`;
    },
  };
}

function linkWatch(device: Device, graceSeconds: number): GuardWatch {
  return {
    name: `link to the ${device.role}`,
    ...(device.role === "weather" && { ofWeather: true }),
    everySeconds: 10,
    graceSeconds,
    check: async (signal) =>
      (await device.isAlive(signal))
        ? undefined
        : `${device.name}: the ${device.role} has not answered for ${graceSeconds} s`,
  };
}

/**
 * From the moment that the Sun was centred, a telescope with its cover open follows it. Judged by the mount's own
 * report, corrected by the pointing error that centring found; a covered telescope may point anywhere.
 */
function trackingWatch(mount: Mount, { rig, rigFile, clock, findings, searching }: GuardRequest): GuardWatch {
  return {
    name: "tracking",
    everySeconds: 5,
    graceSeconds: offSunGraceSeconds,
    check: async (signal) => {
      const { sunPointing, pointingError } = findings;
      if (sunPointing === undefined || searching()) return undefined;
      if (rig.cover && (await rig.cover.state(signal)) === "closed") return undefined;
      const { pointing, tracking } = await mount.state(signal);
      if (!tracking) return `${mount.name}: the mount has stopped tracking the Sun`;
      const off = separationDegrees(pointing, sunFromSite(clock.nowMs(), rigFile.site));
      const most = offSunDegreesMax + (pointingError ? lengthArcsec(pointingError) / 3600 : 0);
      if (off <= most) return undefined;
      return `${mount.name}: the mount points ${off.toFixed(2)}° from the Sun, more than ${most.toFixed(2)}°`;
    },
  };
}
