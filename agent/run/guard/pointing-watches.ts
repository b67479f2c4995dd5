import type { Mount, MountState } from "../../../drivers/roles/mount.ts";
import { lengthArcsec } from "../../../drivers/roles/mount-sky.ts";
import { aroundSunDegrees } from "../../procedures/centre/aim.ts";
import { separationDegrees } from "../../sky/separation.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import type { GuardWatch } from "./condition.ts";
import type { GuardRequest } from "./guard-request.ts";

/** How far the telescope may be off the Sun, beyond the pointing error [degrees]: one disc's diameter. */
const offSunDegreesMax = 0.53;
/** A slew between steps, or a step's own pointing away, takes less than this [s]. */
const offSunGraceSeconds = 45;
/** One wrong report is not enough to turn away: the next look, so much later, has to agree [s]. */
const secondLookSeconds = 2;

/**
 * An uncovered telescope follows the Sun, judged by the mount's own report, corrected by the pointing error that centring
 * found. While the Sun is searched for it may be off it by as much as the search is allowed, and by no more; a covered
 * one may point anywhere.
 */
export function pointingWatches(mount: Mount, request: GuardRequest): GuardWatch[] {
  const { findings, searching, clock } = request;
  const pointingErrorDegrees = () =>
    findings.pointingError ? lengthArcsec(findings.pointingError) / 3600 : 0;
  const nearDegrees = () => offSunDegreesMax + pointingErrorDegrees();
  const searchDegrees = () => request.searchDegrees + aroundSunDegrees + pointingErrorDegrees();
  const view = new UncoveredView(mount, request);
  const silenceSeconds = request.rigFile.limits.silenceSecondsMax;

  const tracking: GuardWatch = {
    name: "tracking",
    everySeconds: 5,
    graceSeconds: offSunGraceSeconds,
    silenceSeconds,
    check: async (signal) => {
      const seen = await view.look(searchDegrees(), signal);
      if (!seen) return undefined;
      if (!seen.tracking && seen.motion !== "slewing")
        return `${mount.name}: the mount has stopped tracking the Sun`;
      return searching() ? undefined : tooFar(mount, seen.offDegrees, nearDegrees());
    },
  };
  const far: GuardWatch = {
    name: "pointing",
    everySeconds: 10,
    graceSeconds: 0,
    silenceSeconds,
    check: async (signal) => {
      for (let looks = 0; ; looks++) {
        const seen = await view.look(searchDegrees(), signal);
        const reason = seen && tooFar(mount, seen.offDegrees, searchDegrees());
        if (reason === undefined || looks > 0) return reason && `${reason}, uncovered`;
        await clock.sleep(secondLookSeconds, signal);
      }
    },
  };
  return [tracking, far];
}

function tooFar(mount: Mount, offDegrees: number, degreesMax: number): string | undefined {
  if (offDegrees <= degreesMax) return undefined;
  return `${mount.name}: the mount points ${offDegrees.toFixed(2)}° from the Sun, more than ${degreesMax.toFixed(2)}°`;
}

interface UncoveredLook extends MountState {
  readonly offDegrees: number;
}

/** The telescope from when it was first seen uncovered near the Sun until it is covered: before that its place is nobody's concern. */
class UncoveredView {
  #isOnSun = false;

  constructor(
    readonly mount: Mount,
    readonly request: GuardRequest,
  ) {}

  /** @returns `undefined` while it is covered, or has not come to the Sun yet */
  async look(nearDegrees: number, signal: AbortSignal): Promise<UncoveredLook | undefined> {
    const { rig, rigFile, clock, findings, front } = this.request;
    // What is being covered is turned away on purpose where that does not succeed.
    if (rig.cover && front.expectedClosed) return undefined;
    if (rig.cover && (await rig.cover.state(signal)) === "closed") {
      this.#isOnSun = false;
      return undefined;
    }
    const state = await this.mount.state(signal);
    const offDegrees = separationDegrees(state.pointing, sunFromSite(clock.nowMs(), rigFile.site));
    this.#isOnSun ||= findings.sunPointing !== undefined || offDegrees <= nearDegrees;
    return this.#isOnSun ? { ...state, offDegrees } : undefined;
  }
}
