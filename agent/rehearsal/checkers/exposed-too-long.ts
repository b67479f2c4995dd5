import type { Moment } from "../../../sim-devices/scene/moment.ts";
import type { Blocked } from "../faults/fault.ts";
import type { Happened, Violation } from "./happened.ts";

/** Within this of the axis the Sun shines into the tube, a finder or a guide telescope [degrees]. */
const nearSunDegrees = 5;
/** From a single fault to a closed cover or a telescope off the Sun, besides the device's own travel [s]. */
const safeWithinSeconds = 30;
/** From the first frame that shows unfiltered light, besides travel [s]. */
const filterSeconds = 5;
/** Once a link is back, besides travel [s]. */
const afterLinkSeconds = 15;
/** An agent whose keeper is gone covers the telescope in that time, travel included [s]. */
const aloneSeconds = 40;
/** How long a mount takes to get out of the way [s]. */
const mountSeconds = 15;

/** From a moment on the telescope may not be open to the Sun; what counts is what comes after the time allowed. */
interface Demand {
  readonly why: string;
  readonly fromMs: number;
  readonly allowSeconds: number;
  /** From then on it may be open again. */
  readonly untilMs: number;
  /** Whether it stays demanded until it has been met once. */
  readonly sticks?: boolean;
}

/** Sunlight can get into the telescope. */
export function isExposed(moment: Moment): boolean {
  const { coverOpen, roofOpen, sunAltitudeDegrees, sunSeparationDegrees } = moment;
  return coverOpen > 0 && roofOpen > 0 && sunAltitudeDegrees > 0 && sunSeparationDegrees < nearSunDegrees;
}

/**
 * The telescope stood open to the Sun after something had happened that should have had it covered or turned off. Time in
 * which neither cover nor mount can be commanded does not count. How the rig was found is nobody's doing, until somebody
 * moves it.
 */
export function exposedTooLong(happened: Happened): Violation[] {
  const { moments } = happened;
  const endMs = moments.at(-1)?.atMs ?? 0;
  const asFoundUntilMs = firstMoveMs(happened);
  const violations: Violation[] = [];
  for (const demand of demandsOf(happened)) {
    const deadlineMs = deadlineOf(demand, happened);
    const lastMs = Math.min(endMs, Math.max(demand.untilMs, demand.sticks ? deadlineMs : 0));
    if (deadlineMs > lastMs) continue;
    const exposed = exposedBetween(moments, deadlineMs, lastMs);
    if (!exposed || exposed.atMs < asFoundUntilMs || exposed.sinceMs <= moments[0]!.atMs) continue;
    const lateSeconds = (exposed.atMs - demand.fromMs) / 1000;
    violations.push({
      atMs: exposed.atMs,
      class: `exposed: ${demand.why}`,
      what: `${demand.why}: open to the Sun ${lateSeconds.toFixed(0)} s after it (allowed ${((deadlineMs - demand.fromMs) / 1000).toFixed(0)} s)`,
    });
  }
  return violations;
}

/** When cover or mount first did anything. */
function firstMoveMs({ moments }: Happened): number {
  const first = moments.find(
    ({ part, what }) => part === "cover" || (part === "mount" && /Started/.test(what)),
  );
  return first?.atMs ?? Number.POSITIVE_INFINITY;
}

function demandsOf(happened: Happened): Demand[] {
  return [
    ...dangers(happened),
    ...sinkingSun(happened),
    ...lostFilter(happened),
    ...stuckCovers(happened),
    ...lyingCovers(happened),
  ];
}

/** What befell while an agent worked on the rig. */
function dangers({ struck, lives, rig }: Happened): Demand[] {
  return struck.flatMap((fault): Demand[] => {
    const { danger, beganMs, endedMs = Number.POSITIVE_INFINITY } = fault;
    if (!danger || (danger.seenBy && !rig.driven.includes(danger.seenBy))) return [];
    const life = lives.find(({ fromMs, untilMs }) => fromMs <= beganMs && beganMs <= untilMs);
    // Who is killed together with its keeper leaves nobody who could do anything.
    const isAlone = struck.some(
      (one) => one.endsKeeper && one.beganMs <= beganMs && beganMs - one.beganMs < aloneSeconds * 1000,
    );
    if (danger.isOfAgent && life?.isKilled && isAlone) return [];
    if (life?.baselineMs === undefined || (life.baselineMs > beganMs && !life.isKilled)) return [];
    if (danger.isSilence) {
      const fromMs = beganMs + (rig.silenceSecondsMax + 10) * 1000;
      // What was over before it counted was no danger.
      if (endedMs < fromMs) return [];
      return [{ why: danger.why, fromMs, allowSeconds: safeWithinSeconds, untilMs: endedMs, sticks: true }];
    }
    const nextLife = lives.find(({ fromMs }) => fromMs > life.untilMs);
    // What happens to an agent at once, as a kill does, lasts until the next one.
    const lastsMs = danger.isOfAgent && endedMs === beganMs ? Number.POSITIVE_INFINITY : endedMs;
    const untilMs = danger.isOfAgent ? Math.min(lastsMs, nextLife?.fromMs ?? lastsMs) : lastsMs;
    return [{ why: danger.why, fromMs: beganMs, allowSeconds: safeWithinSeconds, untilMs }];
  });
}

/** Below the plan's limit no run looks at the Sun any more; how a rig is left is another matter. */
function sinkingSun({ moments, lives, rig }: Happened): Demand[] {
  const limit = rig.sunAltitudeDegreesMin ?? -90;
  const first = moments.find(({ sunAltitudeDegrees }) => sunAltitudeDegrees < limit);
  const life = lives.find((one) => one.purpose === "run" && one.baselineMs !== undefined && !one.isKilled);
  if (!first || !life) return [];
  const untilMs = life.retreatMs === undefined ? (life.restoreMs ?? life.untilMs) : life.untilMs;
  return [{ why: "Sun too low", fromMs: first.atMs, allowSeconds: safeWithinSeconds, untilMs }];
}

/** When somebody got the first frame whose exposure began so, with the Sun in it. */
function firstFrameOf(
  { moments, rig: { sunInFrameDegrees = nearSunDegrees } }: Happened,
  isSo: (moment: Moment) => boolean,
): number | undefined {
  let showing = false;
  let readyMs: number | undefined;
  for (const moment of moments) {
    const { atMs, part, what, detail } = moment;
    if (what === "exposureStarted") {
      if (readyMs !== undefined) return readyMs;
      showing = isSo(moment) && isExposed(moment) && moment.sunSeparationDegrees < sunInFrameDegrees;
    }
    if (!showing) continue;
    if (what === "frameReady") readyMs = atMs;
    // A picture that nobody gets shows nothing.
    if (part === "wire" && what === "picture") readyMs = detail === "came late" ? atMs : undefined;
  }
  return readyMs;
}

/** When a frame has shown that the filter is gone: the run could know. */
export function lostFilterShownMs(happened: Happened): number | undefined {
  return firstFrameOf(happened, ({ filterFitted }) => !filterFitted);
}

function lostFilter(happened: Happened): Demand[] {
  const { moments, struck } = happened;
  const since = lostFilterShownMs(happened);
  if (since === undefined) return [];
  const fitted = moments.find(({ atMs, filterFitted }) => atMs > since && filterFitted);
  // That the cover does not come is seen only once its travel is over.
  const coverFails = struck.some(
    ({ blocks, endedMs = Number.POSITIVE_INFINITY }) => blocks && endedMs > since,
  );
  return [
    {
      why: "filter lost",
      fromMs: since,
      allowSeconds: coverFails ? safeWithinSeconds : filterSeconds,
      untilMs: fitted?.atMs ?? Number.POSITIVE_INFINITY,
    },
  ];
}

/** A cover that sticks says so by never arriving. */
function stuckCovers({ moments, struck }: Happened): Demand[] {
  return moments
    .filter((moment) => moment.part === "cover" && moment.what === "moveJammed" && isExposed(moment))
    .map(({ atMs }) => {
      const jam = struck.find(({ blocks, beganMs, endedMs = Number.POSITIVE_INFINITY }) => {
        return blocks?.includes("cover") && beganMs <= atMs && atMs <= endedMs;
      });
      const untilMs = jam?.endedMs ?? Number.POSITIVE_INFINITY;
      return { why: "cover stuck", fromMs: atMs, allowSeconds: safeWithinSeconds, untilMs };
    });
}

/** Open to the Sun while it says that it is closed: a frame would show it. */
function liesAtSun(moment: Moment): boolean {
  return moment.coverReported === 0 && isExposed(moment);
}

/** When a frame has shown that the cover lies. */
export function coverLieShownMs(happened: Happened): number | undefined {
  return firstFrameOf(happened, liesAtSun);
}

/**
 * A cover that lies as it closes is found out by the frame after it. One that was shown dark and opens later without a word
 * is known only from the next frame on: nobody takes frames while nothing is done but waiting.
 */
function lyingCovers(happened: Happened): Demand[] {
  const { moments } = happened;
  const closed = moments.find((moment, i) => {
    const before = moments[i - 1];
    return liesAtSun(moment) && before !== undefined && before.coverOpen > 0 && !liesAtSun(before);
  });
  const known = [closed?.atMs, coverLieShownMs(happened)].filter((ms) => ms !== undefined);
  if (known.length === 0) return [];
  const startedMs = Math.min(...known);
  const honest = moments.find((moment) => moment.atMs > startedMs && moment.coverReported > 0);
  return [
    {
      why: "cover lies",
      fromMs: startedMs,
      allowSeconds: safeWithinSeconds,
      untilMs: honest?.atMs ?? Number.POSITIVE_INFINITY,
    },
  ];
}

function deadlineOf(demand: Demand, happened: Happened): number {
  const { rig, struck } = happened;
  const canMove = (part: Blocked, atMs: number) =>
    rig.driven.includes(part) &&
    !struck.some(
      ({ blocks, beganMs, endedMs = Number.POSITIVE_INFINITY }) =>
        blocks?.includes(part) && beganMs <= atMs && atMs < endedMs,
    );
  const ends = struck
    .flatMap(({ endedMs }) => (endedMs === undefined ? [] : [endedMs]))
    .sort((a, b) => a - b);
  const travelAt = (atMs: number) => {
    if (canMove("cover", atMs)) return rig.coverSeconds;
    return canMove("mount", atMs) ? mountSeconds : undefined;
  };
  let deadlineMs = Number.POSITIVE_INFINITY;
  // From the demand itself, or from when one of the two can move again.
  for (const startMs of [demand.fromMs, ...ends.filter((atMs) => atMs > demand.fromMs)]) {
    const travel = travelAt(startMs);
    if (travel === undefined) continue;
    const allow = startMs === demand.fromMs ? demand.allowSeconds : afterLinkSeconds;
    deadlineMs = Math.max(demand.fromMs + demand.allowSeconds * 1000, startMs + allow * 1000) + travel * 1000;
    // Unless neither can for some of that time: then the next start counts.
    const isFree = struck.every(
      ({ blocks, beganMs }) =>
        !blocks || beganMs <= startMs || beganMs >= deadlineMs || travelAt(beganMs) !== undefined,
    );
    if (isFree) return deadlineMs;
  }
  return deadlineMs;
}

/** The first exposed moment in a span, and since when it had been so without a break. */
function exposedBetween(moments: readonly Moment[], fromMs: number, untilMs: number) {
  let sinceMs: number | undefined;
  for (const [i, moment] of moments.entries()) {
    if (moment.atMs > untilMs) return undefined;
    if (!isExposed(moment)) {
      sinceMs = undefined;
      continue;
    }
    sinceMs ??= moment.atMs;
    const nextMs = moments[i + 1]?.atMs ?? moment.atMs;
    if (nextMs > fromMs || moment.atMs >= fromMs) return { atMs: Math.max(moment.atMs, fromMs), sinceMs };
  }
  return undefined;
}
