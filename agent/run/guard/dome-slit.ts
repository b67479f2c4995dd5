import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import type { Site } from "../../../drivers/roles/mount.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";

/** A slit further off the Sun's azimuth than this is turned [degrees]; narrower than the slits of small domes. */
const offDegreesMax = 5;
const lookEverySeconds = 60;

export interface SlitRequest {
  readonly rig: Rig;
  readonly site: Site;
  readonly clock: Clock;
  readonly log: Log;
}

/** Shutter open and slit towards the Sun. A dome that is so already, or that cannot be driven, is left alone. */
export async function openDome(
  { rig: { dome }, site, clock }: SlitRequest,
  signal: AbortSignal,
): Promise<void> {
  if (!dome) return;
  const { shutter, parked, azimuthDegrees } = await dome.state(signal);
  const opens = dome.abilities.shutter && shutter !== "open";
  const turns = dome.abilities.azimuth && isOff(azimuthDegrees, sunAzimuth(site, clock));
  if (parked === true && (opens || turns)) await dome.ensureUnparked(signal);
  if (opens) await dome.ensureShutterOpen(signal);
  if (turns) await dome.turnTo(sunAzimuth(site, clock), signal);
}

/** Keeps the slit of an opened dome towards the Sun until the signal aborts. A turn that fails is tried again a minute later. */
export async function followSunWithDome(
  request: SlitRequest & { isOpen: () => boolean },
  signal: AbortSignal,
): Promise<void> {
  const { rig, site, clock, log } = request;
  const { dome } = rig;
  if (!dome?.abilities.azimuth) return;
  while (!signal.aborted) {
    await clock.sleep(lookEverySeconds, signal).catch(() => {});
    if (signal.aborted) return;
    try {
      const { azimuthDegrees, parked, moving } = await dome.state(signal);
      if (!request.isOpen() || parked === true || moving || !isOff(azimuthDegrees, sunAzimuth(site, clock)))
        continue;
      await dome.turnTo(sunAzimuth(site, clock), signal);
    } catch (error) {
      if (!signal.aborted)
        log.warn({ device: dome.name, error: String(error) }, "the dome did not follow the Sun");
    }
  }
}

function sunAzimuth(site: Site, clock: Clock): number {
  return sunFromSite(clock.nowMs(), site).azimuthDegrees;
}

function isOff(azimuthDegrees: number | undefined, wantedDegrees: number): boolean {
  if (azimuthDegrees === undefined) return false;
  const off = Math.abs(((azimuthDegrees - wantedDegrees + 540) % 360) - 180);
  return off > offDegreesMax;
}
