import { expect, test } from "vitest";
import { findOccasions } from "../../agent/service/schedule/occasions.ts";
import { Random } from "../../drivers/kit/random.ts";
import { readSchedule } from "../../plans/schedule-file.ts";
import { runPython } from "./python.ts";

const sites = [
  { latitudeDegrees: 46.5, longitudeDegrees: 9.8, elevationMetres: 1720, timeZone: "Europe/Zurich" },
  { latitudeDegrees: -33.4, longitudeDegrees: -70.6, elevationMetres: 2400, timeZone: "America/Santiago" },
  { latitudeDegrees: 19.8, longitudeDegrees: -155.5, elevationMetres: 4200, timeZone: "Pacific/Honolulu" },
  { latitudeDegrees: -31.3, longitudeDegrees: 159.1, elevationMetres: 10, timeZone: "Australia/Lord_Howe" },
  { latitudeDegrees: 69.6, longitudeDegrees: 18.9, elevationMetres: 100, timeZone: "Europe/Oslo" },
];

/** Days on which some clock of those sites changes, and others. */
const days = [
  "2026-03-29",
  "2026-10-25",
  "2026-04-05",
  "2026-09-06",
  "2026-10-04",
  "2028-02-29",
  "2026-06-21",
  "2026-12-21",
];

const seed = 20260301;

test(`times of day by Python's zoneinfo, on days when clocks change (seed ${seed})`, () => {
  const random = new Random(seed);
  const asked = sites.flatMap(({ timeZone }, site) =>
    days.flatMap((day) =>
      ["01:30", "02:00", "02:15", "02:30", "00:00"].map((plain) => {
        const localTime =
          random.uniform() < 0.5 ? plain : `0${Math.floor(random.uniform() * 4)}:${plain.slice(3)}`;
        return { site, timeZone, day, localTime };
      }),
    ),
  );
  // The fold of 0 is the first of two; of a time that is skipped it is read by the offset before the change.
  const wanted: number[] = runPython(
    `
import json, sys
from datetime import datetime
from zoneinfo import ZoneInfo
asked = json.loads(sys.argv[1])
print(json.dumps([datetime.fromisoformat(f"{a['day']}T{a['localTime']}:00").replace(tzinfo=ZoneInfo(a["timeZone"])).timestamp() * 1000 for a in asked]))
`,
    [JSON.stringify(asked)],
  );
  const ours = asked.map(({ site, day, localTime }) =>
    dueOn(sites[site]!, `{ localTime: "${localTime}" }`, day),
  );
  expect(wanted.length).toBe(200);
  expect(ours).toEqual(wanted.map((utcMs) => [utcMs]));
});

test("what the Sun is at those moments, by astropy: altitude with and without air, and the meridian", () => {
  const asked = sites.flatMap((site) =>
    days.flatMap((day) =>
      ["sunRisesPastDegrees: 20", "sunSetsPastDegrees: 35", "minutesFromTransit: 0"].map((when) => ({
        ...site,
        when,
        day,
        utcMs: dueOn(site, `{ ${when} }`, day)[0],
      })),
    ),
  );
  const there = asked.filter((one) => one.utcMs !== undefined);
  expect(there.length).toBeGreaterThan(80);
  expect(there.length).toBeLessThan(asked.length); // the dark of the north
  const seen: { altitudeDegrees: number; hourAngleDegrees: number }[] = runPython(
    `
import json, sys, warnings
import numpy as np
import astropy.units as u
from astropy.coordinates import AltAz, EarthLocation, HADec, get_sun
from astropy.time import Time
from astropy.utils import iers
iers.conf.auto_download = False
iers.conf.iers_degraded_accuracy = "warn"
warnings.simplefilter("ignore")
asked = json.loads(sys.argv[1])
out = []
for a in asked:
    place = EarthLocation(lat=a["latitudeDegrees"] * u.deg, lon=a["longitudeDegrees"] * u.deg, height=a["elevationMetres"] * u.m)
    t = Time(a["utcMs"] / 1000, format="unix", scale="utc")
    hPa = 1013.25 * (1 - 2.25577e-5 * a["elevationMetres"]) ** 5.25588
    air = AltAz(obstime=t, location=place, pressure=hPa * u.hPa, temperature=10 * u.deg_C, relative_humidity=0, obswl=0.55 * u.micron)
    sun = get_sun(t)
    out.append(dict(altitudeDegrees=float(sun.transform_to(air).alt.deg), hourAngleDegrees=float(sun.transform_to(HADec(obstime=t, location=place)).ha.wrap_at(180 * u.deg).deg)))
print(json.dumps(out))
`,
    [JSON.stringify(there)],
  );
  there.forEach(({ when, day, timeZone }, index) => {
    const { altitudeDegrees, hourAngleDegrees } = seen[index]!;
    const [kind, wanted] = when.split(": ") as [string, string];
    const found = kind === "minutesFromTransit" ? hourAngleDegrees : altitudeDegrees;
    // 0.01 degrees are 3 to 6 seconds of time: two models of refraction, and the Earth's turning foretold for 2028.
    expect(Math.abs(found - Number(wanted)), `${when} on ${day} in ${timeZone}`).toBeLessThan(0.01);
  });
});

function dueOn(site: (typeof sites)[number], when: string, day: string): number[] {
  const schedule = readSchedule(
    `schedule: s\nentries:\n  - { entry: one, plan: p.yaml, when: ${when}, onDays: { dates: [${day}] } }\n`,
    "s.yaml",
  );
  const noonUtcMs = Date.parse(`${day}T12:00:00Z`);
  const span = { fromUtcMs: noonUtcMs - 2 * 86_400_000, toUtcMs: noonUtcMs + 2 * 86_400_000 };
  return findOccasions(schedule.entries, site, span).occasions.map(({ dueUtcMs }) => dueUtcMs);
}
