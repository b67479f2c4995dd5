import type { Equatorial, Site } from "../../../drivers/roles/mount.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { attemptSafing } from "./make-safe.ts";
import type { RestoreTools } from "./restore-setting.ts";

/**
 * How far off the Sun the telescope is turned [degrees]. Far outside the field of any telescope, finder or guide
 * telescope (common practice, no source; the leak check uses the same distance), and across the Sun's daily path
 * rather than along it, so that a mount left standing there is not crossed by the Sun later in the day.
 */
const retreatDegrees = 30;

/** Where to turn: the Sun's hour angle, towards the visible pole, which is never lower than the Sun itself. */
export function retreatPointing(site: Site, utcMs: number): Equatorial {
  const sun = sunFromSite(utcMs, site);
  const towardsPole = site.latitudeDegrees >= 0 ? retreatDegrees : -retreatDegrees;
  return { raHours: sun.raHours, decDegrees: sun.decDegrees + towardsPole };
}

/**
 * Makes the rig safe at once: exposure ended, cover closed, telescope off the Sun and standing still.
 * The cover comes first, because a slew takes longer; a stuck cover does not keep the mount from moving off.
 * @returns what did not succeed, one line each; never throws
 */
export async function retreatFromSun(rig: Rig, site: Site, tools: RestoreTools): Promise<readonly string[]> {
  const { camera, cover, mount } = rig;
  const failed = [
    await attemptSafing("stop the camera", tools, (signal) => camera.ensureStopped(signal)),
    cover && (await attemptSafing("close the cover", tools, (signal) => cover.ensureClosed(signal))),
    mount && (await attemptSafing("stop the mount", tools, (signal) => mount.ensureStopped(signal))),
    mount &&
      (await attemptSafing("turn off the Sun", tools, async (signal) => {
        const { parked } = await mount.state(signal);
        if (parked !== true) await mount.slewTo(retreatPointing(site, tools.clock.nowMs()), signal);
      })),
    mount && (await attemptSafing("stop tracking", tools, (signal) => mount.ensureTrackingOff(signal))),
  ];
  return failed.filter((why) => why !== undefined);
}
