import { DeadlineError, ReadbackError, RefusedError } from "../../kit/errors.ts";
import { neverAborted } from "../../kit/never-aborted.ts";
import { startStopwatch } from "../../kit/stopwatch.ts";
import type { Equatorial } from "../../roles/mount.ts";
import { distanceDegrees } from "../../roles/mount-sky.ts";
import { placeText, type SlewBudget } from "../../roles/slew.ts";
import type { IndiDevice } from "../session/device.ts";
import { changeValues, quickChangeSeconds } from "../session/kept-setting.ts";
import { numberIn, switchesOn } from "../wire/property.ts";
import { eod, lookAt, type MountTools, pointingOf, readPointing } from "./mount-reading.ts";

const lookSeconds = 0.5;
/** A mount that says that it moves has arrived after so long at its target [s]. */
const arrivedSeconds = 2;
/** Looks in a row at which a mount that is no longer Busy must be elsewhere to have missed its target. */
const missedLooks = 4;
/** Without Busy and without arrival after this time the command was refused or lost [s]. */
const answerSeconds = 5;
const settleSeconds = 60;
const syncToleranceArcsec = 30;

/** Always right before coordinates: another client, or an earlier sync, may have left it elsewhere. */
async function setOnCoordSet(device: IndiDevice, what: "TRACK" | "SYNC", signal: AbortSignal): Promise<void> {
  if (device.property("ON_COORD_SET")) await changeValues(device, "ON_COORD_SET", { [what]: true }, signal);
}

/**
 * One goto. Coordinates out of a mount's own range get no answer at all, a parked mount answers Idle, some mounts
 * never leave Busy: so the end is read from state, place and stillness together.
 * @throws RefusedError, ReadbackError (ended elsewhere), DeadlineError
 */
export async function slewAndWait(
  tools: MountTools,
  target: Equatorial,
  budget: SlewBudget,
  signal: AbortSignal,
): Promise<void> {
  const { device } = tools;
  await setOnCoordSet(device, "TRACK", signal);
  const from = await readPointing(device, signal);
  const withinSeconds = 60 + distanceDegrees(from, target) / budget.degreesPerSecondMin;
  const heard: Heard = { alert: false, words: undefined };
  const stopListening = device.watch((event) => {
    if (event.type === "message") heard.words = event.text;
    if (event.type !== "updated" || event.vector.name !== eod || event.vector.awaitingAnswer) return;
    heard.alert = event.vector.state === "Alert";
    heard.words = event.vector.message ?? heard.words;
  });
  try {
    await device.send(eod, { RA: target.raHours, DEC: target.decDegrees }, signal);
    await watchSlew(tools, { target, budget, withinSeconds, heard }, signal);
  } finally {
    stopListening();
  }
}

/** What the mount said since the command. */
interface Heard {
  alert: boolean;
  words: string | undefined;
}

async function watchSlew(
  { device, clock, stillness }: MountTools,
  slew: { target: Equatorial; budget: SlewBudget; withinSeconds: number; heard: Heard },
  signal: AbortSignal,
): Promise<void> {
  const { target, budget, withinSeconds, heard } = slew;
  const refused = (how: string) =>
    new RefusedError(device.name, `${how}${heard.words === undefined ? "" : `; its words: ${heard.words}`}`);
  const elapsed = startStopwatch(clock);
  let sawBusy = false;
  let looksElsewhere = 0;
  const isStill = stillness.judge(arrivedSeconds);
  for (;;) {
    const elapsedSeconds = elapsed();
    if (elapsedSeconds > withinSeconds) throw new DeadlineError(device.name, "the slew", withinSeconds);
    await clock.sleep(lookSeconds, signal);
    if (heard.alert) throw refused(`slew to ${placeText(target)} refused`);
    const vector = await device.refresh(eod, {}, signal);
    const now = pointingOf(device, vector);
    const isThere = distanceDegrees(now, target) * 3600 <= budget.toleranceArcsec;
    if (vector.state === "Busy") {
      sawBusy = true;
      looksElsewhere = 0;
      if (isThere && isStill(lookAt(device))) return;
      continue;
    }
    if (isThere && vector.state !== "Alert") return;
    // The first answers after a command may still be the old ones.
    looksElsewhere++;
    if (sawBusy && looksElsewhere > missedLooks) {
      throw new ReadbackError(device.name, "pointing", placeText(target), placeText(now));
    }
    if (!sawBusy && elapsedSeconds > answerSeconds) {
      throw refused(`no slew began towards ${placeText(target)} (state ${vector.state})`);
    }
  }
}

/** @throws DeadlineError */
export async function waitUntilStill(
  { device, clock, stillness }: MountTools,
  signal: AbortSignal,
  options: { withinSeconds?: number; surelySeconds?: number } = {},
): Promise<Equatorial> {
  const { withinSeconds = settleSeconds, surelySeconds = 5 } = options;
  const elapsedSeconds = startStopwatch(clock);
  // Between two polls of its hardware a driver shows the same place.
  const pollSeconds = (numberIn(device.property("POLLING_PERIOD"), "PERIOD_MS") ?? 0) / 1000;
  const isStill = stillness.judge(Math.max(surelySeconds, 2 * pollSeconds));
  for (;;) {
    await device.refresh(eod, {}, signal);
    const look = lookAt(device);
    if (isStill(look)) return look.pointing;
    if (elapsedSeconds() > withinSeconds) throw new DeadlineError(device.name, "settling", withinSeconds);
    await clock.sleep(1, signal);
  }
}

/**
 * Tells the mount where it points. ON_COORD_SET is put back whatever happens: left on SYNC, the next goto of anybody
 * would falsify the mount's model instead of moving it.
 */
export async function syncMount(device: IndiDevice, actual: Equatorial, signal: AbortSignal): Promise<void> {
  const [before] = switchesOn(device.property("ON_COORD_SET"));
  await setOnCoordSet(device, "SYNC", signal);
  try {
    await device.change(
      eod,
      { RA: actual.raHours, DEC: actual.decDegrees },
      {
        withinSeconds: 20,
        finalStates: ["Ok", "Idle"],
        arrived: (vector) => distanceDegrees(pointingOf(device, vector), actual) * 3600 < syncToleranceArcsec,
      },
      signal,
    );
  } finally {
    const back = before === undefined || before === "SYNC" ? "TRACK" : before;
    const options = { withinSeconds: quickChangeSeconds, finalStates: ["Ok", "Idle"] } as const;
    await device.change("ON_COORD_SET", { [back]: true }, options, neverAborted);
  }
}
