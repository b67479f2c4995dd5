import { ReadbackError } from "../../../drivers/kit/errors.ts";
import type { Equatorial, Mount } from "../../../drivers/roles/mount.ts";
import { distanceDegrees, lengthArcsec } from "../../../drivers/roles/mount-sky.ts";
import { coverFront } from "../../safing/cover-front.ts";
import { uncover } from "../../safing/uncover.ts";
import { whileCovered } from "../../safing/while-covered.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { offsetFrom, placeAt, type SkyOffset } from "../../sky/tangent-plane.ts";
import type { Workbench } from "../step.ts";
import { StepError } from "../step-error.ts";
import { checkSunKnown } from "../sun-known.ts";
import { sunTrackingRate } from "../sun-tracking-rate.ts";
import { mayFlip, noteSlew } from "./meridian.ts";

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

/** Where the mount must say that it points for the Sun to be centred, as far as is known; from the ephemeris' Sun. */
export function knownPointingOffset({ findings }: Pick<Workbench, "findings">): SkyOffset {
  return scaleOffset(findings.pointingError ?? { eastArcsec: 0, northArcsec: 0 }, -1);
}

/**
 * The line of sight, counted from where the ephemeris has the Sun: so the Sun's own motion drops out. An uncovered telescope
 * is kept round the Sun, by the ephemeris and by the mount's report, and covered for a slew that may flip the mount.
 */
export class Aim {
  moveCount = 0;
  readonly #home: SkyOffset;
  readonly #boundDegrees: number;
  #seenOffDegrees: number | undefined;

  /** @param searchDegrees how far from the expected place a search may lead */
  constructor(
    readonly mount: Mount,
    readonly bench: Workbench,
    searchDegrees = 0,
  ) {
    this.#home = knownPointingOffset(bench);
    this.#boundDegrees = searchDegrees + aroundSunDegrees;
  }

  /** Where the mount says it points, from the Sun. */
  async reported(signal: AbortSignal): Promise<SkyOffset> {
    const { pointing } = await this.mount.state(signal);
    return offsetFrom(this.#sun(), pointing);
  }

  /**
   * A short move on the sky, relative, however the mount does that best; a long one by a slew.
   * @param settle less for frames whose place is told by what they show [s]
   */
  async moveBy(by: SkyOffset, signal: AbortSignal, settle = settleSeconds): Promise<void> {
    const to = addOffsets(await this.#reportedInBound(signal), by);
    if (lengthArcsec(by) > nudgeArcsecMax) return this.slewTo(to, signal);
    await this.#move(to, (abort) => this.mount.nudge(by, abort), signal, settle);
  }

  /** To a place given from the Sun, as the mount counts. @throws StepError when it is not sure where the Sun is */
  async slewTo(to: SkyOffset, signal: AbortSignal): Promise<void> {
    await this.#reportedInBound(signal);
    await this.#move(to, (abort) => this.#slew(to, abort), signal);
  }

  /**
   * Arriving from the east and the south whatever the start: the right-ascension gear then stays loaded as tracking loads
   * it, and play on the other axis is always on the same side.
   */
  async slewFromSameSide(to: SkyOffset, signal: AbortSignal): Promise<void> {
    await this.slewTo(besideOf(to), signal);
    await this.slewTo(to, signal);
  }

  /** From wherever the mount points, behind the cover. A rig that has none is open all the way, once. */
  async approach(to: SkyOffset, signal: AbortSignal): Promise<void> {
    if (this.bench.rig.cover || this.#seenOffDegrees !== undefined) return this.slewTo(to, signal);
    this.moveCount++;
    await this.#slew(to, signal);
    await this.#reportedInBound(signal);
    await this.bench.clock.sleep(settleSeconds, signal);
  }

  async approachFromSameSide(to: SkyOffset, signal: AbortSignal): Promise<void> {
    await this.approach(besideOf(to), signal);
    await this.slewTo(to, signal);
  }

  /**
   * Before a nudge of the mount with frames under way, when there is no time to cover the telescope.
   * @returns where the mount says it points, from the Sun @throws ReadbackError, StepError
   */
  async startNudge(to: SkyOffset, signal: AbortSignal): Promise<SkyOffset> {
    const from = await this.#reportedInBound(signal);
    this.#checkTarget(to);
    if (await this.mayFlip(to, signal))
      throw new StepError(
        "MERIDIAN_NEAR",
        "the mount may change to the other side of its pier here, and there is no time to cover the telescope for it",
        "Run the plan again when the Sun has passed the meridian for a quarter of an hour.",
      );
    return from;
  }

  async #slew(to: SkyOffset, signal: AbortSignal): Promise<void> {
    checkSunKnown(this.bench.clock.nowMs());
    const sun = this.#sun();
    const target = placeAt(sun, to);
    await this.mount.slewTo(target, signal);
    noteSlew(this.mount, target, sun.siderealHours);
    // Mounts exist that fall back to the stars' rate after a slew.
    await this.mount.ensureTracking(sunTrackingRate(this.mount), signal);
  }

  /** A mount may make any move by a slew, however small it is. */
  async #move(
    to: SkyOffset,
    go: (signal: AbortSignal) => Promise<void>,
    signal: AbortSignal,
    settle = settleSeconds,
  ): Promise<void> {
    const { bench } = this;
    this.moveCount++;
    this.#checkTarget(to);
    if (this.#isCovered) await whileCovered(bench, go, signal);
    else if (bench.rig.cover && (await this.mayFlip(to, signal))) {
      bench.note("covering for a slew that may flip the mount");
      await coverFront(bench, signal);
      // By a slew in any case: what a nudge would leave is a flip to come.
      await whileCovered(bench, (abort) => this.#slew(to, abort), signal);
      await uncover(bench, signal);
    } else await go(signal);
    await bench.clock.sleep(settle, signal);
  }

  get #isCovered(): boolean {
    return this.bench.front.covered.proved;
  }

  /** @throws ReadbackError when the mount says that the open telescope has left the Sun: it has lost its count, or moved */
  async #reportedInBound(signal: AbortSignal): Promise<SkyOffset> {
    const { pointing } = await this.mount.state(signal);
    const offDegrees = this.#offDegrees(pointing);
    const before = this.#seenOffDegrees;
    if (!this.#isCovered && offDegrees > this.#boundDegrees)
      throw new ReadbackError(
        this.mount.name,
        "where the open telescope points",
        `within ${this.#boundDegrees.toFixed(2)}° of where the Sun is expected`,
        `${offDegrees.toFixed(2)}° from it${before === undefined ? "" : `, ${before.toFixed(2)}° at the look before`}`,
      );
    this.#seenOffDegrees = offDegrees;
    return offsetFrom(this.#sun(), pointing);
  }

  #checkTarget(to: SkyOffset): void {
    const offDegrees = this.#offDegrees(placeAt(this.#sun(), to));
    if (this.#isCovered || offDegrees <= this.#boundDegrees) return;
    throw new StepError(
      "OPEN_SLEW_REFUSED",
      `a move of the open telescope to ${offDegrees.toFixed(2)}° from where the Sun is expected is refused; ${this.#boundDegrees.toFixed(2)}° are allowed`,
      "Look in `events.ndjson` at what the step measured before; centre the Sun again.",
    );
  }

  /** Whether a slew there may carry the tube round the pier. */
  mayFlip(to: SkyOffset, signal: AbortSignal): Promise<boolean> {
    const sun = this.#sun();
    return mayFlip(this.mount, placeAt(sun, to), sun.siderealHours, signal);
  }

  #offDegrees(place: Equatorial): number {
    return distanceDegrees(place, placeAt(this.#sun(), this.#home));
  }

  #sun() {
    return sunFromSite(this.bench.clock.nowMs(), this.bench.site);
  }
}

function besideOf(to: SkyOffset): SkyOffset {
  return addOffsets(to, { eastArcsec: approachArcsec, northArcsec: -approachArcsec });
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
