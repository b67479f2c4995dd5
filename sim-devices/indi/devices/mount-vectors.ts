import type { World } from "../../scene/world.ts";
import { numberVector, switchVector, textVector } from "../vector.ts";

const main = "Main Control";
const motion = "Motion Control";
const site = "Site Management";

/** Jog speeds: names, labels, and what they are in degrees a second (the last is the slew speed). */
export const jogSpeeds = [
  { name: "1x", label: "Guide", degreesPerSecond: 7.5 / 3600 },
  { name: "2x", label: "Centering", degreesPerSecond: 120 / 3600 },
  { name: "3x", label: "Find", degreesPerSecond: 960 / 3600 },
  { name: "4x", label: "Max", degreesPerSecond: undefined },
] as const;

export function mountVectors(world: World) {
  const { mount } = world;
  const at = mount.believed;
  const here = mount.believedSite;
  const radec = { group: main, timeout: 60 };
  return {
    onSet: switchVector({ name: "ON_COORD_SET", label: "On Set", group: main }, [
      ["TRACK", "Track", true],
      ["SLEW", "Slew"],
      ["SYNC", "Sync"],
    ]),
    eod: numberVector({ ...radec, name: "EQUATORIAL_EOD_COORD", label: "Eq. Coordinates" }, [
      ["RA", "RA (hh:mm:ss)", at.raHours, 0, 24, 0, "%010.6m"],
      ["DEC", "DEC (dd:mm:ss)", at.decDegrees, -90, 90, 0, "%010.6m"],
    ]),
    target: numberVector({ ...radec, name: "TARGET_EOD_COORD", label: "Slew Target", perm: "ro" }, [
      ["RA", "RA (hh:mm:ss)", at.raHours, 0, 24, 0, "%010.6m"],
      ["DEC", "DEC (dd:mm:ss)", at.decDegrees, -90, 90, 0, "%010.6m"],
    ]),
    abort: switchVector(
      { name: "TELESCOPE_ABORT_MOTION", label: "Abort Motion", group: main, rule: "AtMostOne" },
      [["ABORT", "Abort"]],
    ),
    trackMode: switchVector({ name: "TELESCOPE_TRACK_MODE", label: "Track Mode", group: main, timeout: 0 }, [
      ["TRACK_SIDEREAL", "Sidereal", mount.rate === "sidereal"],
      ...(mount.hasSolarRate
        ? [["TRACK_SOLAR", "Solar", mount.rate === "solar"] as [string, string, boolean]]
        : []),
      ["TRACK_LUNAR", "Lunar", mount.rate === "lunar"],
      ["TRACK_CUSTOM", "Custom", mount.rate === "custom"],
    ]),
    trackState: switchVector({ name: "TELESCOPE_TRACK_STATE", label: "Tracking", group: main, timeout: 0 }, [
      ["TRACK_ON", "On"],
      ["TRACK_OFF", "Off", true],
    ]),
    trackRate: numberVector({ name: "TELESCOPE_TRACK_RATE", label: "Track Rates", group: main }, [
      ["TRACK_RATE_RA", "RA (arcsecs/s)", mount.customRate.ha, -16_384, 16_384, 0, "%.6f"],
      ["TRACK_RATE_DE", "DE (arcsecs/s)", mount.customRate.dec, -16_384, 16_384, 0, "%.6f"],
    ]),
    motionNs: switchVector(
      { name: "TELESCOPE_MOTION_NS", label: "Motion N/S", group: motion, rule: "AtMostOne" },
      [
        ["MOTION_NORTH", "North"],
        ["MOTION_SOUTH", "South"],
      ],
    ),
    motionWe: switchVector(
      { name: "TELESCOPE_MOTION_WE", label: "Motion W/E", group: motion, rule: "AtMostOne" },
      [
        ["MOTION_WEST", "West"],
        ["MOTION_EAST", "East"],
      ],
    ),
    reverse: switchVector(
      { name: "TELESCOPE_REVERSE_MOTION", label: "Reverse", group: motion, rule: "AnyOfMany", timeout: 0 },
      [
        ["REVERSE_NS", "North/South"],
        ["REVERSE_WE", "West/East"],
      ],
    ),
    slewRate: switchVector(
      { name: "TELESCOPE_SLEW_RATE", label: "Slew Rate", group: motion, timeout: 0 },
      jogSpeeds.map(({ name, label }) => [name, label, name === "3x"]),
    ),
    guideNs: numberVector({ name: "TELESCOPE_TIMED_GUIDE_NS", label: "Guide N/S", group: motion }, [
      ["TIMED_GUIDE_N", "North (ms)", 0, 0, 60_000, 100, "%.f"],
      ["TIMED_GUIDE_S", "South (ms)", 0, 0, 60_000, 100, "%.f"],
    ]),
    guideWe: numberVector({ name: "TELESCOPE_TIMED_GUIDE_WE", label: "Guide E/W", group: motion }, [
      ["TIMED_GUIDE_W", "West (ms)", 0, 0, 60_000, 100, "%.f"],
      ["TIMED_GUIDE_E", "East (ms)", 0, 0, 60_000, 100, "%.f"],
    ]),
    guideRate: numberVector({ name: "GUIDE_RATE", label: "Guiding Rate", group: motion, timeout: 0 }, [
      ["GUIDE_RATE_WE", "W/E Rate", 0.5, 0, 1, 0.1, "%.1f"],
      ["GUIDE_RATE_NS", "N/S Rate", 0.5, 0, 1, 0.1, "%.1f"],
    ]),
    park: switchVector(
      { name: "TELESCOPE_PARK", label: "Parking", group: main, state: mount.parked ? "Ok" : "Idle" },
      [
        ["PARK", "Park(ed)", mount.parked],
        ["UNPARK", "UnPark(ed)", !mount.parked],
      ],
    ),
    parkPosition: numberVector({ name: "TELESCOPE_PARK_POSITION", label: "Park Position", group: site }, [
      ["PARK_HA", "HA (hh:mm:ss)", mount.parkAt.hourAngleDegrees / 15, -12, 12, 0, "%010.6m"],
      ["PARK_DEC", "DEC (dd:mm:ss)", mount.parkAt.decDegrees, -90, 90, 0, "%010.6m"],
    ]),
    parkOption: switchVector(
      { name: "TELESCOPE_PARK_OPTION", label: "Park Options", group: site, rule: "AtMostOne" },
      [
        ["PARK_CURRENT", "Current"],
        ["PARK_DEFAULT", "Default"],
      ],
    ),
    site: numberVector({ name: "GEOGRAPHIC_COORD", label: "Scope Location", group: site, state: "Ok" }, [
      ["LAT", "Lat (dd:mm:ss)", here.latitudeDegrees, -90, 90, 0, "%012.8m"],
      [
        "LONG",
        "Lon (dd:mm:ss)",
        here.longitudeDegrees < 0 ? here.longitudeDegrees + 360 : here.longitudeDegrees,
        0,
        360,
        0,
        "%012.8m",
      ],
      ["ELEV", "Elevation (m)", here.elevationMetres, -500, 10_000, 0, "%g"],
    ]),
    time: textVector({ name: "TIME_UTC", label: "UTC", group: site, state: "Ok" }, [
      ["UTC", "UTC Time", ""],
      ["OFFSET", "UTC Offset", "0.00"],
    ]),
  };
}
