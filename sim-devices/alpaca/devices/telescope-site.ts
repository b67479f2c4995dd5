import type { World } from "../../scene/world.ts";
import { checkedNumber, invalidValue } from "../ascom-error.ts";
import type { MemberTable } from "../member-table.ts";

/** Where and when the mount believes itself to be; its truth is the scene's. */
export function addSiteAndTime(members: MemberTable, { mount, clock }: World): void {
  const add = (parameter: string, key: keyof typeof mount.believedSite, min: number, max: number) =>
    members.setting(parameter, "number", {
      read: () => mount.believedSite[key],
      write: (value) => {
        mount.believedSite = { ...mount.believedSite, [key]: checkedNumber(parameter, value, min, max) };
      },
    });
  add("SiteLatitude", "latitudeDegrees", -90, 90);
  add("SiteLongitude", "longitudeDegrees", -180, 180);
  add("SiteElevation", "elevationMetres", -300, 10_000);
  members.setting("UTCDate", "text", {
    read: () => new Date(mount.believedUtcMs).toISOString(),
    write: (text) => {
      const isDate = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,7})?Z$/.test(text);
      const utcMs = isDate ? Date.parse(text) : Number.NaN;
      if (Number.isNaN(utcMs)) throw invalidValue(`"${text}" is no date of the form 2026-06-21T10:00:00.0Z`);
      mount.clockErrorSeconds = (utcMs - clock.nowMs()) / 1000;
    },
  });
}
