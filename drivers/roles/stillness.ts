import type { Clock } from "../kit/clock.ts";
import type { Log } from "../kit/log.ts";
import { siderealArcsecPerSecond } from "../kit/sidereal.ts";
import type { Equatorial } from "./mount.ts";
import { lengthArcsec, skyOffset } from "./mount-sky.ts";

/** One look at a mount. */
export interface MountLook {
  readonly pointing: Equatorial;
  /** By its own account: slewing, jogging, pulsing or parking. */
  readonly reportsMotion: boolean;
  readonly tracking: boolean;
}

/** Between two looks [arcsec], and for every second between them, which covers a solar or lunar rate [arcsec/s]. */
const jitterArcsec = 2;
const creepArcsecPerSecond = 0.6;
/** The same for a mount that does not follow the sky: its right ascension runs, and is told in steps [arcsec]. */
const standingJitterArcsec = 20;
/** Around the place where it was found still [arcsec]. */
const restArcsec = 60;
/** A mount that says that it moves is believed to be still after so long in one place [s]. */
const sureSeconds = 5;

/**
 * Whether a mount is still, by its place over time. What it says of its motion is only a hint: there are mounts that
 * never leave Busy, and others that say so too early.
 */
export class Stillness {
  #restsAt: PlaceAt | undefined;
  #isWarned = false;

  constructor(readonly mount: { readonly device: string; readonly clock: Clock; readonly log: Log }) {}

  /**
   * For looks in a row at a mount that is to come to rest. The first is never enough; two are if it says that it is
   * still, otherwise it must stay in one place.
   * @param surelySeconds how long, if not 5 s
   */
  judge(surelySeconds = sureSeconds): (look: MountLook) => boolean {
    let from: PlaceAt | undefined;
    return (look) => {
      const now = this.#placeAt(look);
      const before = from;
      const stays = before !== undefined && isSamePlace(before, now, look, jitterArcsec);
      if (!stays || !look.reportsMotion) from = now;
      if (!look.reportsMotion) return stays;
      if (!stays || now.atSeconds - before.atSeconds < surelySeconds) return false;
      this.#restsAt = now;
      this.#warn();
      return true;
    };
  }

  /** By one look: it says that it is still, or has not left the place where it was found so. */
  isAtRest(look: MountLook): boolean {
    if (!look.reportsMotion) {
      this.#restsAt = undefined;
      this.#isWarned = false;
      return true;
    }
    return this.#restsAt !== undefined && isSamePlace(this.#restsAt, this.#placeAt(look), look, restArcsec);
  }

  #placeAt({ pointing }: MountLook): PlaceAt {
    return { pointing, atSeconds: this.mount.clock.monotonicSeconds() };
  }

  #warn(): void {
    const { device, log } = this.mount;
    if (!this.#isWarned)
      log.warn({ device }, "the mount stays in its place and says that it moves: taken as still");
    this.#isWarned = true;
  }
}

interface PlaceAt {
  readonly pointing: Equatorial;
  readonly atSeconds: number;
}

/** Following the sky, or standing under it: then its right ascension grows as fast as the sky turns. */
function isSamePlace(before: PlaceAt, now: PlaceAt, look: MountLook, withinArcsec: number): boolean {
  const seconds = now.atSeconds - before.atSeconds;
  const moved = skyOffset(before.pointing, now.pointing);
  if (lengthArcsec(moved) <= withinArcsec + creepArcsecPerSecond * seconds) return true;
  if (look.tracking && look.reportsMotion) return false;
  const cosDec = Math.cos((now.pointing.decDegrees * Math.PI) / 180);
  const eastArcsec = moved.eastArcsec - siderealArcsecPerSecond * seconds * cosDec;
  return lengthArcsec({ ...moved, eastArcsec }) <= Math.max(withinArcsec, standingJitterArcsec);
}
