import type { Clock } from "../../drivers/kit/clock.ts";
import { withDeadline } from "../../drivers/kit/deadline.ts";
import type { Log } from "../../drivers/kit/log.ts";
import { neverAborted } from "../../drivers/kit/never-aborted.ts";
import { startStopwatch } from "../../drivers/kit/stopwatch.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import type { ConnectRig } from "../run/checks/connect-rig-file.ts";
import { newFront } from "../safing/front.ts";
import { makeSafe, type Safety } from "../safing/make-safe.ts";

export interface TakeRigTools {
  readonly rigFile: RigFile;
  readonly connect: ConnectRig;
  readonly clock: Clock;
  readonly log: Log;
  /** The rig's lock. @throws while another process holds it */
  readonly lock: () => Promise<Disposable>;
}

/** A process that dies gives its lock back within this; one that only hangs keeps it [s]. */
const lockSecondsMax = 4;
/** One try, from connecting on [s]. */
const trySecondsMax = 240;
/** Between two tries, in which somebody else may take the rig [s]. */
const pauseSeconds = 5;
/** So long nobody has come, and the Sun has left the field of a telescope that stands still [s]. */
const hopeSeconds = 2 * 3600;
/** With one of cover and mount done: what has failed so often needs a hand. */
const triesWithOneDone = 2;

/**
 * Makes a rig safe that nobody holds: connects what answers, covers it and turns it off the Sun, again and again until both
 * are read back. An agent that hangs keeps the rig's lock: it is acted without it all the same. Ends, too, when another
 * process has taken the rig between two tries. What else the agent left changed is for `evenfield restore`. Never throws.
 */
export async function takeRig(tools: TakeRigTools): Promise<void> {
  const { clock, log } = tools;
  const seconds = startStopwatch(clock);
  for (let tries = 1; ; tries++) {
    using lock = await lockWithin(tools, tries === 1 ? lockSecondsMax : 0);
    if (!lock && tries > 1) return log.info({}, "another process has the rig now");
    if (!lock) log.warn({}, "the rig's lock is held: acting without it");
    const safety = await trySafing(tools);
    const done = whatIsDone(tools.rigFile, safety);
    log.info({ tries, done, ...safety }, "tried to make the rig safe");
    if (done === "both" || (done === "one" && tries >= triesWithOneDone) || seconds() > hopeSeconds) return;
    lock?.[Symbol.dispose]();
    await clock.sleep(pauseSeconds);
  }
}

/** @returns `undefined` when it is still held by then */
async function lockWithin(
  { lock, clock, log }: TakeRigTools,
  withinSeconds: number,
): Promise<Disposable | undefined> {
  const seconds = startStopwatch(clock);
  for (;;) {
    try {
      return await lock();
    } catch (error) {
      log.debug({ error: String(error) }, "the rig's lock could not be had");
    }
    if (seconds() >= withinSeconds) return undefined;
    await clock.sleep(1);
  }
}

async function trySafing({ rigFile, connect, clock, log }: TakeRigTools): Promise<Safety | undefined> {
  const limits = {
    device: "rig",
    what: "making it safe",
    withinSeconds: trySecondsMax,
    signal: neverAborted,
  };
  try {
    return await withDeadline(clock, limits, async (signal) => {
      await using connected = await connect(signal, () => {}, "putting back");
      const tools = { rig: connected.rig, site: rigFile.site, clock, log, front: newFront() };
      // Nothing is known of the light, so no frame is taken: the cover's report has to do.
      const findings = { lightRate: {} };
      return await makeSafe({ ...tools, findings }, { goal: "covered and off the Sun", signal });
    });
  } catch (error) {
    log.warn({ error: String(error) }, "the rig could not be made safe yet");
    return undefined;
  }
}

/** Of cover and mount, as far as the rig file has them to be driven. */
function whatIsDone({ devices }: RigFile, safety: Safety | undefined): "both" | "one" | "none" {
  if (!safety) return "none";
  const isDriven = (role: "cover" | "mount") => devices[role] !== undefined && "server" in devices[role];
  const isCovered = safety.covered.proved || !isDriven("cover");
  const isOff = safety.offSun || !isDriven("mount");
  if (isCovered && isOff) return "both";
  return safety.covered.proved || safety.offSun ? "one" : "none";
}
