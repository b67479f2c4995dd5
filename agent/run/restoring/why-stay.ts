import type { Equatorial } from "../../../drivers/roles/mount.ts";
import { describeCovered } from "../../safing/front.ts";
import type { Safety } from "../../safing/make-safe.ts";
import { isPathOffSun, isSunUp } from "../../safing/off-sun.ts";
import type { BaselineEntry } from "../record/run-record.ts";
import type { RestoreRequest } from "./restore-request.ts";

/**
 * Why the telescope may not be moved as the baseline wants it. Covered, or with the Sun down, it may; else, and where a frame
 * should have shown that it is covered and could not be taken, only along a way that keeps well off the Sun. A rig that has no cover points at the Sun uncovered by its nature: there it may as long as
 * nothing has said that it is not safe.
 */
export async function whyStay(
  request: RestoreRequest,
  safety: Safety | undefined,
  { setting: { key, value } }: BaselineEntry,
): Promise<string | undefined> {
  const { rig, site, clock, signal, retreatedBecause } = request;
  const { covered } = safety ?? {};
  const isDoubtful = covered?.proved && covered.unseen !== undefined && !(key === "parked" && value === true);
  if ((covered?.proved && !isDoubtful) || !isSunUp(site, clock.nowMs())) return undefined;
  if (!rig.cover) {
    const against = [...retreatedBecause, ...(await request.whyKeepCovered(signal))];
    if (against.length === 0) return undefined;
  }
  const why = covered ? describeCovered(covered) : "nothing is known of its cover";
  const stays = `left where it is, ${why}`;
  if (key !== "pointing" || !Array.isArray(value)) return stays;
  const [raHours = Number.NaN, decDegrees = Number.NaN] = value as readonly number[];
  const from: Equatorial | undefined = (await rig.mount?.state(signal).catch(() => undefined))?.pointing;
  return from && isPathOffSun(from, { raHours, decDegrees }, site, clock.nowMs()) ? undefined : stays;
}
