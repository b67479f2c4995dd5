import { withDeadline } from "../../drivers/kit/deadline.ts";
import { DeviceLostError } from "../../drivers/kit/errors.ts";
import { startStopwatch } from "../../drivers/kit/stopwatch.ts";
import type { Device } from "../../drivers/roles/device.ts";
import type { Mount } from "../../drivers/roles/mount.ts";
import { stoppableDevices } from "../../drivers/roles/rig.ts";
import type { Covered } from "./front.ts";
import { isSunUp, nearSunDegrees, retreatPointing, sunSeparationDegrees } from "./off-sun.ts";
import { proveCovered } from "./prove-covered.ts";
import type { SafingTools } from "./safing-tools.ts";

export interface SafingGoal {
  /**
   * `covered`: the mount stays where it is unless the cover fails; `covered and off the Sun`: it is turned away at once,
   * beside the cover.
   */
  readonly goal: "covered" | "covered and off the Sun";
  /** Never the signal that ended the work. */
  readonly signal: AbortSignal;
  /** Warns whoever watches, while neither of the two has come about. */
  readonly warn?: (text: string) => void;
}

/** How the rig stands, as it was read back. */
export interface Safety {
  readonly covered: Covered;
  /** The mount reads well off the Sun, and does not follow the sky; or the Sun is down. */
  readonly offSun: boolean;
  /** As the mount reads last [degrees]. */
  readonly sunSeparationDegrees?: number;
  /** What could not be done, one line each. */
  readonly failed: readonly string[];
}

/** How long a cover may take, and how much longer than ever before in this run [s]: then the mount turns away as well. */
const coverSecondsLeast = 20;
const coverMarginSeconds = 5;
/** How long a person may take who puts a cap on [s]. */
const handSecondsMax = 300;
/** One try; then the device is told anew what it was told already [s]. */
const trySecondsMax = { cover: 45, mount: 150, others: 30 };
const pauseSeconds = 2;
/** What is sent unasked is on the wire by then, or the link is down [s]. */
const sendSecondsMax = 10;
/** With one of the two done, the other gets this long; a slew of 30 degrees takes a minute or two [s]. */
const secondGraceSeconds = 150;
/** With neither done: the link may come back, and nothing else matters until then [s]. */
const hopeSeconds = 1200;
const warnEverySeconds = 30;

/**
 * Makes the rig safe and says how far that is proved. Commands first and blind, then reads back, again and again: cover
 * and mount side by side. A cover that does not close makes the mount turn off the Sun, whatever the goal was; a mount
 * that does not turn leaves the cover to be tried. Ends when the goal is proved, or when time is up; never throws, but
 * for its signal.
 */
export async function makeSafe(tools: SafingTools, { goal, signal, warn }: SafingGoal): Promise<Safety> {
  const safing = new Safing(tools, signal);
  try {
    return await safing.run(tools.front.turnAway ? "covered and off the Sun" : goal, warn);
  } finally {
    safing.end();
  }
}

/** How long one way of the cover may take before it counts as stuck [s]. */
export function coverSecondsMax({ front, rig: { cover } }: SafingTools): number {
  if (cover?.isMovedByHand) return handSecondsMax;
  return Math.max(coverSecondsLeast, (front.travelSeconds ?? 0) + coverMarginSeconds);
}

class Safing {
  readonly #failed = new Map<string, string>();
  readonly #over = new AbortController();
  readonly #stopListening: () => void;
  #covered: Covered = { proved: false, why: "the cover has not answered yet" };
  #offSun = false;
  #separationDegrees: number | undefined;
  #parksInstead = false;

  constructor(
    readonly tools: SafingTools,
    readonly signal: AbortSignal,
  ) {
    const onAbort = () => this.#over.abort(signal.reason);
    signal.addEventListener("abort", onAbort, { once: true });
    this.#stopListening = () => signal.removeEventListener("abort", onAbort);
  }

  async run(goal: SafingGoal["goal"], warn: SafingGoal["warn"]): Promise<Safety> {
    this.signal.throwIfAborted();
    const sent = this.#sendBlind(goal);
    const stopping = this.#stopAllButMount();
    const covering = this.#coverUntilProved(stopping);
    const turning = this.#turnWhenNeeded(goal, sent);
    const watching = this.#giveUpInTime(warn);
    await Promise.all([covering, turning]);
    this.#over.abort(new Error("made safe"));
    await Promise.all([stopping, watching]);
    this.signal.throwIfAborted();
    this.tools.front.covered = this.#covered;
    return {
      covered: this.#covered,
      offSun: this.#offSun,
      ...(this.#separationDegrees === undefined ? {} : { sunSeparationDegrees: this.#separationDegrees }),
      failed: [...new Set(this.#failed.values())],
    };
  }

  end(): void {
    this.#stopListening();
    this.#over.abort(new Error("made safe"));
  }

  /**
   * Before anything is asked: harmless at any time, and on its way however slow the answers are.
   * @returns when the mount's have gone out, or have had their time
   */
  async #sendBlind(goal: SafingGoal["goal"]): Promise<void> {
    const { camera, cover, mount } = this.tools.rig;
    const { signal } = this.#over;
    const send = async (what: string, sending: Promise<void> | undefined) => {
      await sending?.catch((error: unknown) => this.#note(what, error));
    };
    void send("close the cover", cover?.sendClose(signal));
    void send("stop the camera", camera.sendStop(signal));
    if (goal === "covered") return;
    const mountSent = [
      send("stop the mount", mount?.sendStop(signal)),
      send("stop tracking", mount?.sendTrackingOff(signal)),
    ];
    await Promise.race([
      Promise.all(mountSent),
      this.tools.clock.sleep(sendSecondsMax, signal).catch(() => {}),
    ]);
  }

  async #coverUntilProved(cameraStopped: Promise<void>): Promise<void> {
    const { rig, front, clock } = this.tools;
    const { cover } = rig;
    if (!cover) {
      this.#covered = { proved: false, why: "the rig has no cover" };
      return;
    }
    front.expectedClosed = true;
    await this.#untilDone("close the cover", cover, async (signal) => {
      const travelSeconds = startStopwatch(clock);
      await cover.ensureClosed(signal);
      front.travelSeconds = Math.max(front.travelSeconds ?? 0, travelSeconds());
      await cameraStopped;
      this.#covered = await proveCovered(this.tools, signal);
      if (this.#covered.proved) return true;
      this.#failed.set("cover", this.#covered.why);
      return false;
    });
    const why = this.#failed.get("close the cover");
    if (!this.#covered.proved && why !== undefined) this.#covered = { proved: false, why };
  }

  async #stopAllButMount(): Promise<void> {
    const devices = stoppableDevices(this.tools.rig).filter(({ role }) => role !== "mount");
    await Promise.all(
      devices.map((device) =>
        this.#attempt(`stop the ${device.role}`, device, (signal) => device.ensureStopped(signal)),
      ),
    );
  }

  async #turnWhenNeeded(goal: SafingGoal["goal"], stopSent: Promise<void>): Promise<void> {
    const { rig, clock, site } = this.tools;
    const { mount, cover } = rig;
    if (!mount) return;
    if (goal === "covered") {
      await this.#attempt("stop the mount", mount, (signal) => mount.ensureStopped(signal));
      const waitSeconds = cover ? coverSecondsMax(this.tools) : 0;
      const startedSeconds = clock.monotonicSeconds();
      // A frame full of light ends the waiting: that cover is not about to close.
      const mayClose = () => !this.#covered.proved && this.tools.front.contradiction === undefined;
      while (mayClose() && clock.monotonicSeconds() - startedSeconds < waitSeconds) {
        await clock.sleep(1, this.#over.signal).catch(() => {});
        if (this.#over.signal.aborted) return;
      }
      // Without a cover there is nothing to fail: where the mount points is the caller's.
      if (this.#covered.proved || !cover) return;
    }
    await stopSent; // or it would end the slew that follows
    await this.#untilDone("turn off the Sun", mount, async (signal) => {
      if (goal === "covered" && this.#covered.proved) return true; // it has closed after all
      if (!isSunUp(site, clock.nowMs())) this.#offSun = true;
      const { parked, pointing, tracking } = await mount.state(signal);
      this.#separationDegrees = sunSeparationDegrees(pointing, site, clock.nowMs());
      if (parked !== true && this.#separationDegrees < nearSunDegrees) {
        await mount.ensureStopped(signal);
        await this.#turnAway(mount, signal);
      }
      if (parked !== true && tracking) await mount.ensureTrackingOff(signal);
      const after = await mount.state(signal);
      this.#separationDegrees = sunSeparationDegrees(after.pointing, site, clock.nowMs());
      this.#offSun ||= this.#separationDegrees >= nearSunDegrees;
      return this.#offSun && !after.tracking;
    });
  }

  /** A mount that can't be slewed, for want of tracking for one, may still go to its park; each fails in its turn. */
  async #turnAway(mount: Mount, signal: AbortSignal): Promise<void> {
    const { site, clock } = this.tools;
    try {
      if (this.#parksInstead) await mount.ensureParked(signal);
      else await mount.slewTo(retreatPointing(site, clock.nowMs()), signal);
    } catch (error) {
      const canChoose = mount.abilities.park && !(error instanceof DeviceLostError);
      this.#parksInstead = canChoose && !this.#parksInstead;
      throw error;
    }
  }

  /** Aborts what is still being tried once it has had its time. */
  async #giveUpInTime(warn: SafingGoal["warn"]): Promise<void> {
    const { clock, rig } = this.tools;
    const startedSeconds = clock.monotonicSeconds();
    let firstDoneSeconds: number | undefined;
    let warnedSeconds = startedSeconds;
    while (!this.#over.signal.aborted) {
      await clock.sleep(1, this.#over.signal).catch(() => {});
      const now = clock.monotonicSeconds();
      const isSafe = this.#covered.proved || this.#offSun || (!rig.cover && !rig.mount);
      if (isSafe) firstDoneSeconds ??= now;
      const limit =
        firstDoneSeconds === undefined ? hopeSeconds : firstDoneSeconds - startedSeconds + secondGraceSeconds;
      if (now - startedSeconds > limit) this.#over.abort(new Error("time is up"));
      if (!isSafe && now - warnedSeconds >= warnEverySeconds) {
        warnedSeconds = now;
        warn?.(
          `the telescope is neither covered nor off the Sun yet: ${[...this.#failed.values()].join("; ") || "nothing has answered"}`,
        );
      }
    }
  }

  /** Tries until it is done or time is up. */
  async #untilDone(
    what: string,
    device: Device,
    work: (signal: AbortSignal) => Promise<boolean>,
  ): Promise<void> {
    while (!this.#over.signal.aborted) {
      let isDone = false;
      await this.#attempt(what, device, async (signal) => {
        isDone = await work(signal);
      });
      if (isDone) return;
      await this.tools.clock.sleep(pauseSeconds, this.#over.signal).catch(() => {});
    }
  }

  async #attempt(
    what: string,
    device: Device,
    work: (signal: AbortSignal) => Promise<unknown>,
  ): Promise<void> {
    const withinSeconds = this.#trySecondsMax(device);
    const limits = { device: device.name, what, withinSeconds, signal: this.#over.signal };
    try {
      await withDeadline(this.tools.clock, limits, work);
      this.#failed.delete(what);
    } catch (error) {
      if (!this.#over.signal.aborted) this.#note(what, error);
    }
  }

  #trySecondsMax({ role }: Device): number {
    if (role === "cover") return this.tools.rig.cover?.isMovedByHand ? handSecondsMax : trySecondsMax.cover;
    return role === "mount" ? trySecondsMax.mount : trySecondsMax.others;
  }

  #note(what: string, error: unknown): void {
    if (this.#over.signal.aborted) return;
    const why = error instanceof Error ? error.message : String(error);
    if (this.#failed.get(what) !== why) this.tools.log.warn({ what, why }, "could not make safe");
    this.#failed.set(what, why);
  }
}
