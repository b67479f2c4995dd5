import type { Moment } from "../../sim-devices/scene/moment.ts";
import type { World } from "../../sim-devices/scene/world.ts";

/** How far off the axis the Sun still shines into the tube [degrees]. */
const intoTubeDegrees = 3;

/** For how long what was open to the Sun, by the world's own truth [s of its clock]. */
export interface TubeAccount {
  /** Cover not shut. */
  readonly openSeconds: number;
  /** Open, with the Sun up and within 3 degrees of the axis. */
  readonly sunlitSeconds: number;
  /** The same without the Sun filter. */
  readonly unfilteredSeconds: number;
  /** Open while the mount slewed. */
  readonly openSlewSeconds: number;
  /** How often the cover began to open. */
  readonly openings: number;
}

/**
 * Adds up the time between the world's moments; each holds until the next. Moments come at every change and every
 * quarter of a second while the tube or a leaf moves; they are good to that.
 * @param fromMs what was before does not count [UTC ms]
 */
export function accountTube(world: World, fromMs = Number.NEGATIVE_INFINITY): TubeAccount {
  world.recordState();
  const { history } = world;
  const secondsWhile = (holds: (moment: Moment) => boolean) =>
    history.reduce((sum, moment, i) => {
      const startMs = Math.max(moment.atMs, fromMs);
      const endMs = history[i + 1]?.atMs ?? startMs;
      return holds(moment) && endMs > startMs ? sum + (endMs - startMs) / 1000 : sum;
    }, 0);
  const isOpen = ({ coverOpen }: Moment) => coverOpen > 0;
  const isSunlit = (moment: Moment) =>
    isOpen(moment) && moment.sunAltitudeDegrees > 0 && moment.sunSeparationDegrees < intoTubeDegrees;
  return {
    openSeconds: secondsWhile(isOpen),
    sunlitSeconds: secondsWhile(isSunlit),
    unfilteredSeconds: secondsWhile((moment) => isSunlit(moment) && !moment.filterFitted),
    openSlewSeconds: secondsWhile((moment) => isOpen(moment) && moment.mount === "slewing"),
    openings: history.filter(
      (moment, i) => moment.atMs >= fromMs && i > 0 && isOpen(moment) && !isOpen(history[i - 1]!),
    ).length,
  };
}
