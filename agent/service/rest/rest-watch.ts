import type { Clock } from "../../../drivers/kit/clock.ts";
import { startStopwatch } from "../../../drivers/kit/stopwatch.ts";
import type { RestRow } from "./look-at-rig.ts";

/** The rig is looked at so often [s]: devices are connected for it. */
export const rigLookSeconds = 900;
/** A clock that was set by more than this between two looks is told of [s]. */
const clockStepSecondsMax = 120;

/** What a service at rest has seen of its rig and its computer. */
export class RestWatch {
  #rigRows: readonly RestRow[] = [];
  #sinceRigLook: (() => number) | undefined;
  /** Of the first look: wall clock less monotonic clock [s]. */
  #clockOffsetSeconds: number | undefined;
  #clockRow: RestRow | undefined;

  constructor(readonly clock: Clock) {}

  get isRigLookDue(): boolean {
    return this.#sinceRigLook === undefined || this.#sinceRigLook() >= rigLookSeconds;
  }

  /** It was taken for the service's own work, and is not at rest as it was seen. */
  forgetRig(): void {
    this.#rigRows = [];
    this.#sinceRigLook = undefined;
  }

  noteRig(rows: readonly RestRow[]): void {
    this.#rigRows = rows;
    this.#sinceRigLook = startStopwatch(this.clock);
  }

  /**
   * All that is known now.
   * @param free space on the disk of the runs, and how much there has to be [MB]
   * @param lookedUtcMs when a process of the service last looked at its schedule, by the ledger
   */
  rows(
    { freeMegabytes, leastMegabytes }: { readonly freeMegabytes: number; readonly leastMegabytes: number },
    lookedUtcMs: number | undefined,
  ): readonly RestRow[] {
    const disk = `${Math.floor(freeMegabytes)} MB are free on the disk, and ${leastMegabytes} MB have to be`;
    return [
      ...this.#rigRows,
      { what: "disk", verdict: freeMegabytes >= leastMegabytes ? "as it should be" : "not so", text: disk },
      this.#judgeClock(lookedUtcMs),
    ];
  }

  /** By a clock that was set back, as after a start without a battery, what was done would seem to be yet to come. */
  #judgeClock(lookedUtcMs: number | undefined): RestRow {
    const nowUtcMs = this.clock.nowMs();
    const offsetSeconds = nowUtcMs / 1000 - this.clock.monotonicSeconds();
    const stepSeconds = offsetSeconds - (this.#clockOffsetSeconds ?? offsetSeconds);
    this.#clockOffsetSeconds = offsetSeconds;
    const time = new Date(nowUtcMs).toISOString().slice(0, 16).replace("T", " ");
    if (Math.abs(stepSeconds) > clockStepSecondsMax) {
      const way = stepSeconds > 0 ? "forward" : "back";
      const text = `the computer's clock was set ${way} by ${Math.abs(stepSeconds / 60).toFixed(0)} minutes; it reads ${time} UTC`;
      this.#clockRow = { what: "clock", verdict: "not so", text };
    }
    const behindSeconds = ((lookedUtcMs ?? nowUtcMs) - nowUtcMs) / 1000;
    if (behindSeconds > clockStepSecondsMax && behindSeconds < 86_400) {
      const text = `the computer's clock reads ${time} UTC, ${(behindSeconds / 60).toFixed(0)} minutes before this service last looked at it`;
      return { what: "clock", verdict: "not so", text, holds: true };
    }
    return (
      this.#clockRow ?? {
        what: "clock",
        verdict: "as it should be",
        text: `the computer's clock reads ${time} UTC`,
      }
    );
  }
}
