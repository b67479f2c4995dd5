import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Mount, Site } from "../../../drivers/roles/mount.ts";
import { lengthArcsec } from "../../../drivers/roles/mount-sky.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { offsetFrom, placeAt, type SkyOffset } from "../../sky/tangent-plane.ts";
import { checkSunKnown } from "../sun-known.ts";

/** After a move: play in the gears is taken up by tracking, and vibrations die away [s]. */
const settleSeconds = 3;
/** Longer moves are slews [arcsec]. */
const nudgeArcsecMax = 900;
/** More than any play that a mount worth the name has [arcsec]. */
const approachArcsec = 150;

/**
 * How far round the Sun work may lead an uncovered telescope, beyond a search [degrees]: two discs' diameters. The limb is
 * looked for a frame's width beyond it, and no frame that shows a limb only in part is wider than the disc.
 */
export const aroundSunDegrees = 1.06;

/** The line of sight, counted from where the ephemeris has the Sun: so the Sun's own motion drops out. */
export class Aim {
  moveCount = 0;

  constructor(
    readonly mount: Mount,
    readonly clock: Clock,
    readonly site: Site,
  ) {}

  /** Where the mount says it points, from the Sun. */
  async reported(signal: AbortSignal): Promise<SkyOffset> {
    const { pointing } = await this.mount.state(signal);
    return offsetFrom(this.#sun(), pointing);
  }

  /** A short move on the sky, relative, however the mount does that best; a long one by a slew. */
  async moveBy(by: SkyOffset, signal: AbortSignal): Promise<void> {
    if (lengthArcsec(by) > nudgeArcsecMax)
      return this.slewTo(addOffsets(await this.reported(signal), by), signal);
    this.moveCount++;
    await this.mount.nudge(by, signal);
    await this.clock.sleep(settleSeconds, signal);
  }

  /** To a place given from the Sun, as the mount counts. @throws StepError when it is not sure where the Sun is */
  async slewTo(offset: SkyOffset, signal: AbortSignal): Promise<void> {
    checkSunKnown(this.clock.nowMs());
    this.moveCount++;
    await this.mount.slewTo(placeAt(this.#sun(), offset), signal);
    // Mounts exist that fall back to the stars' rate after a slew.
    await this.mount.ensureTracking("solar", signal);
    await this.clock.sleep(settleSeconds, signal);
  }

  /**
   * The same, arriving from the east and the south whatever the start: the right-ascension gear then stays loaded
   * as tracking loads it, and play on the other axis is always on the same side.
   */
  async slewFromSameSide(offset: SkyOffset, signal: AbortSignal): Promise<void> {
    const before = { eastArcsec: approachArcsec, northArcsec: -approachArcsec };
    await this.slewTo(addOffsets(offset, before), signal);
    await this.slewTo(offset, signal);
  }

  #sun() {
    return sunFromSite(this.clock.nowMs(), this.site);
  }
}

export function addOffsets(a: SkyOffset, b: SkyOffset): SkyOffset {
  return { eastArcsec: a.eastArcsec + b.eastArcsec, northArcsec: a.northArcsec + b.northArcsec };
}

export function scaleOffset({ eastArcsec, northArcsec }: SkyOffset, by: number): SkyOffset {
  return { eastArcsec: by * eastArcsec, northArcsec: by * northArcsec };
}

export function subtractOffset(from: SkyOffset, offset: SkyOffset): SkyOffset {
  return addOffsets(from, scaleOffset(offset, -1));
}

export function distanceArcsec(a: SkyOffset, b: SkyOffset): number {
  return lengthArcsec(subtractOffset(a, b));
}
