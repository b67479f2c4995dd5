import { startStopwatch } from "../../../drivers/kit/stopwatch.ts";
import type { Cover } from "../../../drivers/roles/cover.ts";
import type { Device } from "../../../drivers/roles/device.ts";
import type { Dome } from "../../../drivers/roles/dome.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { type GuardWatch, UnknownConditionError } from "./condition.ts";
import type { GuardRequest } from "./guard-request.ts";
import { pointingWatches } from "./pointing-watches.ts";
import { filterProblem } from "./sun-filter.ts";

/** The guard's conditions for this rig. Brightness is watched by the procedures, which see the frames. */
export function guardWatches(request: GuardRequest): readonly GuardWatch[] {
  const { rig, rigFile } = request;
  const { mount, cover, dome, weather } = rig;
  const silenceSeconds = rigFile.limits.silenceSecondsMax;
  const watched: (Device | undefined)[] = [mount, cover, dome, weather];
  return [
    sunWatch(request),
    diskWatch(request),
    filterWatch(request),
    ...weatherWatches(rig, silenceSeconds),
    ...(dome?.abilities.shutter ? [domeWatch(dome, silenceSeconds)] : []),
    ...(mount ? pointingWatches(mount, request) : []),
    ...(cover ? [coverWatch(cover, request, silenceSeconds)] : []),
    ...foreignWatches(rig, silenceSeconds),
    ...watched.filter((device) => device !== undefined).map((device) => linkWatch(device, silenceSeconds)),
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

/** Bad weather counts at once; a station that says nothing, or nothing that can be judged, counts after that time. */
export function weatherWatches({ weather }: Rig, silenceSeconds: number): GuardWatch[] {
  if (!weather) return [];
  return [
    {
      name: "weather",
      ofWeather: true,
      everySeconds: 10,
      graceSeconds: 0,
      silenceSeconds,
      check: async (signal) => {
        const { safety, reasons } = await weather.state(signal);
        const words = `${weather.name}: weather ${safety}${reasons.length > 0 ? ` (${reasons.join(", ")})` : ""}`;
        if (safety === "unknown") throw new UnknownConditionError(words);
        return safety === "unsafe" ? words : undefined;
      },
    },
  ];
}

/** The statement can run out while a plan waits. */
function filterWatch({ rigFile, clock, looking }: GuardRequest): GuardWatch {
  return {
    name: "Sun filter",
    everySeconds: 30,
    graceSeconds: 0,
    check: async () => (looking() ? filterProblem(rigFile.sunFilter, clock.nowMs()) : undefined),
  };
}

/** Once the shutter has been seen open in this run it has to stay so. */
function domeWatch(dome: Dome, silenceSeconds: number): GuardWatch {
  let seenOpen = false;
  return {
    name: "dome",
    everySeconds: 10,
    graceSeconds: 10,
    silenceSeconds,
    check: async (signal) => {
      const { shutter } = await dome.state(signal);
      if (shutter === "open") seenOpen = true;
      return seenOpen && shutter !== "open"
        ? `${dome.name}: the shutter is ${shutter ?? "unknown"}`
        : undefined;
    },
  };
}

/** A closed cover that is told to close once more may call itself moving for so long [s]. */
const closingAgainSecondsMax = 4;

/** What was closed and proved stays closed until it is uncovered. */
function coverWatch(cover: Cover, { front, clock }: GuardRequest, silenceSeconds: number): GuardWatch {
  const isProvedClosed = () => front.expectedClosed && front.covered.proved;
  const look = (signal: AbortSignal) => cover.state(signal).catch(() => undefined); // silence is the link's
  /** Safing sends its close several times, and the last of them may be carried out when the cover has long been closed. */
  const lookUntilAtRest = async (signal: AbortSignal) => {
    const seconds = startStopwatch(clock);
    let state = await look(signal);
    while (state === "moving" && isProvedClosed() && seconds() < closingAgainSecondsMax) {
      await clock.sleep(0.5, signal);
      state = await look(signal);
    }
    return state;
  };
  return {
    name: "cover",
    everySeconds: 2,
    graceSeconds: 0,
    silenceSeconds,
    check: async (signal) => {
      if (!isProvedClosed()) return undefined;
      const state = await lookUntilAtRest(signal);
      if (!isProvedClosed() || (state !== "open" && state !== "moving")) return undefined;
      const why = `the cover reads ${state}, and this run did not open it`;
      front.covered = { proved: false, why };
      return `${cover.name}: ${why}`;
    },
  };
}

/** Two who steer one telescope steer it into the Sun. What moves the light, and the camera in it, obeys one alone. */
function foreignWatches({ mount, cover, diffuser, camera }: Rig, silenceSeconds: number): GuardWatch[] {
  const watch = (device: Device, look: (signal: AbortSignal) => Promise<unknown>): GuardWatch => ({
    name: `commands to the ${device.role}`,
    everySeconds: 5,
    graceSeconds: 0,
    silenceSeconds,
    check: async (signal) => {
      await look(signal).catch(() => {}); // silence is the link's
      const { last } = device.foreignCommands;
      return last && `${device.name}: ${last.what}`;
    },
  });
  const isToldByItself = async () => {};
  return [
    ...[cover, diffuser].flatMap((leaf) => (leaf ? [watch(leaf, (signal) => leaf.state(signal))] : [])),
    ...[mount, camera].flatMap((device) => (device ? [watch(device, isToldByItself)] : [])),
  ];
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
