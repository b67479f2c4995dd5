import type { World } from "../../scene/world.ts";
import { invalidValue } from "../ascom-error.ts";
import type { MemberTable } from "../member-table.ts";

/** Where and when the mount believes itself to be; its truth is the scene's. */
export function addSiteAndTime(members: MemberTable, { mount, clock }: World): void {
  const add = (
    parameter: string,
    key: keyof typeof mount.believedSite,
    [min, max]: readonly [number, number],
  ) => {
    const name = parameter.toLowerCase();
    members.reads(name, () => mount.believedSite[key]);
    members.writes(name, { [parameter]: "number" }, (given) => {
      const value = given[parameter]!;
      if (!(value >= min && value <= max)) {
        throw invalidValue(`${parameter} ${value} is outside ${min} to ${max}`);
      }
      mount.believedSite = { ...mount.believedSite, [key]: value };
    });
  };
  add("SiteLatitude", "latitudeDegrees", [-90, 90]);
  add("SiteLongitude", "longitudeDegrees", [-180, 180]);
  add("SiteElevation", "elevationMetres", [-300, 10_000]);
  members.reads("utcdate", () => new Date(mount.believedUtcMs).toISOString());
  members.writes("utcdate", { UTCDate: "text" }, ({ UTCDate }) => {
    const isDate = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,7})?Z$/.test(UTCDate);
    const utcMs = isDate ? Date.parse(UTCDate) : Number.NaN;
    if (Number.isNaN(utcMs)) {
      throw invalidValue(`"${UTCDate}" is no date of the form 2026-06-21T10:00:00.0Z`);
    }
    mount.clockErrorSeconds = (utcMs - clock.nowMs()) / 1000;
  });
}
