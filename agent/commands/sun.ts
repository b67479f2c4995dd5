import type { Command } from "commander";
import { airMass } from "../sky/air-mass.ts";
import { sunAbove, sunDay } from "../sky/sun-day.ts";
import { type GroundSite, type SunFromSite, sunFromSite } from "../sky/sun-from-site.ts";
import { type SunOrientation, sunOrientation } from "../sky/sun-orientation.ts";
import { type SunRates, sunRates } from "../sky/sun-rates.ts";
import { sunTheoriesApartDegrees, theoriesApartMostDegrees } from "../sky/sun-second-theory.ts";
import { addCommand, type CommandHost, conclude, exitCodes, processHost } from "./outcome.ts";
import { readSite } from "./site-text.ts";
import { readUtcTime } from "./utc-time.ts";

/** Below this altitude no flat is worth planning: air mass 3. */
const usableDegrees = 20;

/** Where the Sun is for a site, in numbers that survive JSON; instants are ISO 8601, UTC. */
export interface SunReport
  extends Omit<SunFromSite, "siderealHours">,
    SunOrientation,
    Omit<SunRates, "hourAngleArcsecPerSecond"> {
  readonly utc: string;
  readonly site: GroundSite;
  /** Null below the horizon. */
  readonly airMass: number | null;
  /** How far a second, coarser theory puts it from here. */
  readonly secondTheoryDegrees: number;
  readonly day: {
    readonly riseUtc: string | null;
    readonly transitUtc: string;
    readonly transitAltitudeDegrees: number;
    readonly setUtc: string | null;
    /** While the Sun stands at least this high. */
    readonly usableAboveDegrees: number;
    readonly usableFromUtc: string | null;
    readonly usableToUtc: string | null;
  };
}

const iso = (utcMs: number | undefined) =>
  utcMs === undefined ? null : new Date(Math.round(utcMs / 1000) * 1000).toISOString().replace(".000Z", "Z");

export function sunReport(utcMs: number, site: GroundSite): SunReport {
  const { siderealHours: _, ...sun } = sunFromSite(utcMs, site);
  const { hourAngleArcsecPerSecond: __, ...rates } = sunRates(utcMs);
  const day = sunDay(utcMs, site);
  const usable = sunAbove(utcMs, site, usableDegrees);
  return {
    utc: iso(utcMs)!,
    site,
    ...sun,
    airMass: sun.trueAltitudeDegrees > 0 ? airMass(sun.trueAltitudeDegrees) : null,
    ...sunOrientation(utcMs),
    ...rates,
    secondTheoryDegrees: sunTheoriesApartDegrees(utcMs),
    day: {
      riseUtc: iso(day.riseUtcMs),
      transitUtc: iso(day.transitUtcMs)!,
      transitAltitudeDegrees: day.transitAltitudeDegrees,
      setUtc: iso(day.setUtcMs),
      usableAboveDegrees: usableDegrees,
      usableFromUtc: iso(usable?.fromUtcMs),
      usableToUtc: iso(usable?.toUtcMs),
    },
  };
}

const nothingDone = "Nothing was computed.";

export interface SunOptions {
  readonly site: string;
  readonly at?: string;
}

/** `evenfield sun`. @throws CommandError */
export function sun(options: SunOptions, host: CommandHost) {
  const site = readSite(options.site, nothingDone);
  const utcMs = options.at === undefined ? host.clock.nowMs() : readUtcTime(options.at, nothingDone);
  const result = sunReport(utcMs, site);
  return { exitCode: exitCodes.done, result, text: textOf(result) };
}

function textOf(report: SunReport): string {
  const { day } = report;
  const clock = (utc: string | null, none: string) => (utc === null ? none : `${utc.slice(11, 16)} UTC`);
  const up = report.trueAltitudeDegrees > -0.8333;
  const hours = (value: number) => {
    const seconds = Math.round(value * 36_000) / 10;
    const whole = Math.floor(seconds / 60);
    return `${Math.floor(whole / 60)}h ${whole % 60}m ${(seconds % 60).toFixed(1)}s`;
  };
  const usable =
    day.usableFromUtc === null
      ? `not today (it climbs to ${day.transitAltitudeDegrees.toFixed(1)}°)`
      : `${clock(day.usableFromUtc, "")} to ${clock(day.usableToUtc, "")}, while it stands ${day.usableAboveDegrees}° high or higher`;
  const lines: [string, string][] = [
    ["time", report.utc],
    ["altitude", `${report.altitudeDegrees.toFixed(3)}° with refraction${up ? "" : " (it is down)"}`],
    ["azimuth", `${report.azimuthDegrees.toFixed(3)}° from north through east`],
    ["of date", `RA ${hours(report.raHours)}, declination ${report.decDegrees.toFixed(4)}°`],
    ["hour angle", `${report.hourAngleHours.toFixed(4)} h`],
    ["air mass", report.airMass === null ? "none below the horizon" : report.airMass.toFixed(2)],
    ["size", `semidiameter ${report.semidiameterArcsec.toFixed(1)}″ at ${report.distanceAu.toFixed(5)} au`],
    [
      "orientation",
      `P ${report.poleAngleDegrees.toFixed(2)}°, B0 ${report.centreLatitudeDegrees.toFixed(2)}°, L0 ${report.centreLongitudeDegrees.toFixed(2)}°`,
    ],
    [
      "motion",
      `${(report.raArcsecPerSecond * 60).toFixed(2)}″ of RA and ${(report.decArcsecPerSecond * 60).toFixed(2)}″ of declination per minute`,
    ],
    [
      "day",
      `rises ${clock(day.riseUtc, "not")}, transit ${clock(day.transitUtc, "")} at ${day.transitAltitudeDegrees.toFixed(1)}°, sets ${clock(day.setUtc, "not")}`,
    ],
    ["usable", usable],
    ["checked", checkedText(report.secondTheoryDegrees)],
  ];
  return lines.map(([name, value]) => `${name.padEnd(12)} ${value}`).join("\n");
}

function checkedText(apartDegrees: number): string {
  const apart = `a second theory puts it ${(apartDegrees * 3600).toFixed(0)}″ from here`;
  return apartDegrees <= theoriesApartMostDegrees
    ? `${apart}; it is good to 40″`
    : `${apart}, and it is good to 40″: ONE OF THEM IS WRONG, point nothing by either`;
}

export function registerSun(program: Command, host: CommandHost = processHost): void {
  addCommand(program, "sun", "evenfield sun --site 46.5,9.8,1720 --at 2026-06-21T10:00:00Z")
    .requiredOption("--site <LAT,LON[,ELEV]>", "degrees, north and east positive, and metres")
    .option("--at <TIME>", "instead of now; UTC unless it says otherwise")
    .action((options: SunOptions & { json?: boolean }) =>
      conclude(host, { command: "sun", json: options.json }, () => sun(options, host)),
    );
}
