import type { Moment } from "../../../sim-devices/scene/moment.ts";
import { deceives } from "../faults/fault.ts";
import { isExposed } from "./exposed-too-long.ts";
import type { Happened, Violation } from "./happened.ts";

const nearSunDegrees = 5;
const offSunDegrees = 15;
/** An open telescope is moved this far at most: a search round the expected place [degrees]. */
const uncoveredSlewDegreesMax = 5;
/** A cover that opens by itself may be noticed so late [s]. */
const noticeSeconds = 15;
/** Safing goes on trying for that long before it turns away [s]. */
const safingSeconds = 30;
/** Between the look at a cover and the command to move there is at least the way of the two over the wire [s]. */
const wireSeconds = 1.5;

/**
 * Slews of an open telescope: to the Sun or across it, far from where it was, or towards the Sun after a retreat or in
 * restoring. A rig without a cover has no other way; what others command is not the agent's doing; a cover that is on its
 * way to closed may be left behind. Who says that a cap is on, and has not put it on, is believed until a frame shows it.
 */
export function uncoveredMoves(happened: Happened): Violation[] {
  const { moments, rig, lives } = happened;
  if (!rig.driven.includes("cover") && !rig.byHand.includes("cover")) return [];
  return moments.flatMap((moment, i): Violation[] => {
    const isStart = moment.part === "mount" && /^(slew|park)(Started|Overlapped)$/.test(moment.what);
    if (!isStart || !isOpenAndSeen(moment) || moment.sunAltitudeDegrees < 0 || isForeign(moment, happened))
      return [];
    const endMs = moments.slice(i + 1).find(isOver)?.atMs ?? Number.POSITIVE_INFINITY;
    const slew = moments.slice(i).filter(({ atMs }) => atMs <= endMs);
    const later = slew.find(({ atMs }) => atMs > moment.atMs);
    const isClosing = (later?.coverReported ?? 1) < moment.coverReported;
    const nearest = Math.min(
      ...slew.filter(({ coverReported }) => coverReported > 0).map((m) => m.sunSeparationDegrees),
    );
    const from = moment.sunSeparationDegrees;
    // A mount that deceives does not go where it is sent.
    const isSent = !happened.struck.some((fault) => deceives(fault, "mount") && fault.beganMs <= moment.atMs);
    const to = (isSent ? moment.targetSunSeparationDegrees : undefined) ?? slew.at(-1)!.sunSeparationDegrees;
    const life = lives.findLast(({ fromMs }) => fromMs <= moment.atMs);
    const puttingBackMs = Math.min(
      ...[life?.retreatMs, life?.restoreMs].map((ms) => ms ?? Number.POSITIVE_INFINITY),
    );
    // After an agent's death its keeper makes the rig safe.
    const isAfter = life !== undefined && moment.atMs >= life.untilMs;
    const isPuttingBack = isAfter || life?.purpose === "restore" || moment.atMs >= puttingBackMs;
    const find = (name: string, what: string) => [
      { atMs: moment.atMs, class: `uncovered move: ${name}`, what },
    ];
    const path = `uncovered (${moment.coverReported.toFixed(2)}) from ${from.toFixed(1)}° to ${to.toFixed(1)}° from the Sun`;
    const isTowards = (to < nearSunDegrees || nearest < nearSunDegrees) && from > nearSunDegrees;
    // Who is told a wrong place searches round it, and does not know how far it is from there to the Sun.
    const towards = isTowards && (isSent || from - Math.min(to, nearest) > uncoveredSlewDegreesMax);
    if (towards && (isBelieved(moment, happened) || hasJustOpened(moments.slice(0, i + 1)))) return [];
    if (towards) return find(isPuttingBack ? "to the Sun while putting back" : "to the Sun", path);
    if (isPuttingBack && to < from - 0.5 && to < nearSunDegrees) return find("back onto the Sun", path);
    // Off the Sun is where a retreat goes, whether or not the cover comes along: a step makes safe before the run does.
    const retreats =
      from < nearSunDegrees && to > offSunDegrees && wasToldToClose(moments.slice(0, i + 1), happened);
    const isFar = !isPuttingBack && !retreats && Math.abs(to - from) > uncoveredSlewDegreesMax;
    if (isFar && !isClosing && canClose(moment, happened)) return find("far", path);
    return [];
  });
}

/** A slew is over when the mount stands still, or is sent elsewhere. */
function isOver({ part, what, mount }: Moment): boolean {
  return mount === "still" || (part === "mount" && what.endsWith("Overlapped"));
}

/** A cover of which the agent could know that it is open; one that has just opened by itself is forgiven. */
function isOpenAndSeen(moment: Moment): boolean {
  return moment.coverOpen > 0 && moment.coverReported > 0;
}

/** Whatever it does: it is told to close, or was while it could not hear. */
function wasToldToClose(moments: readonly Moment[], { struck }: Happened): boolean {
  const { atMs } = moments.at(-1)!;
  const sinceMs = atMs - 1000 * safingSeconds;
  const lately = moments.filter((one) => one.atMs >= sinceMs);
  const lastStart = moments.findLastIndex(({ part, what }) => part === "cover" && what === "moveStarted");
  const again = moments.slice(lastStart + 1).some(({ detail = "" }) => detail.startsWith("Scene Cover"));
  const wasDeaf = struck.some(
    ({ blocks, endedMs }) =>
      blocks?.includes("cover") && endedMs !== undefined && endedMs >= sinceMs && endedMs <= atMs,
  );
  return again || wasDeaf || lately.some(({ coverOpen, coverTarget }) => coverOpen > 0 && coverTarget === 0);
}

/** Somebody has said that the cap is on, and no frame of the open Sun speaks against it yet. */
function isBelieved({ atMs }: Moment, { moments, rig }: Happened): boolean {
  if (!rig.byHand.includes("cover") || rig.person !== "lying") return false;
  return !moments.some((one) => one.atMs < atMs && one.what === "frameReady" && isExposed(one));
}

/** It was closed when it was looked at last. */
function hasJustOpened(moments: readonly Moment[]): boolean {
  const { atMs } = moments.at(-1)!;
  const closed = moments.findLast(({ coverReported }) => coverReported === 0);
  return closed !== undefined && atMs - closed.atMs < wireSeconds * 1000;
}

function isForeign({ atMs }: Moment, { struck }: Happened): boolean {
  return struck.some(({ foreign, beganMs }) => foreign && Math.abs(beganMs - atMs) < 1);
}

/** Whether the cover could have been closed first, and had not only just opened by itself. */
function canClose({ atMs }: Moment, { struck, rig }: Happened): boolean {
  // An agent that stands still asks nobody to put a cap on, and its keeper can't.
  const isStill = struck.some(
    ({ stopsAgent, beganMs, endedMs = Number.POSITIVE_INFINITY }) =>
      stopsAgent && beganMs <= atMs && atMs <= endedMs,
  );
  const obeys = rig.driven.includes("cover") || (rig.person === "obliging" && !isStill);
  return (
    obeys &&
    !struck.some(
      ({ blocks, foreign, beganMs, endedMs = Number.POSITIVE_INFINITY }) =>
        (blocks?.includes("cover") && beganMs <= atMs && atMs <= endedMs) ||
        (foreign && atMs - beganMs >= 0 && atMs - beganMs < noticeSeconds * 1000),
    )
  );
}
