import type { Clock } from "../kit/clock.ts";

/** What a cover that said for a whole way that it moves is given to answer another command [s]. */
const overdueCommandSeconds = 15;

/** How long a cover says that it moves. Longer than its way takes means that what it says is no longer known to be so. */
export class CoverTravel {
  #movingSinceSeconds: number | undefined;

  constructor(
    readonly clock: Clock,
    /** Longest time that one way takes. */
    readonly secondsMax: number,
  ) {}

  /** Takes note of what a look showed. */
  saw(moving: boolean): void {
    if (!moving) this.#movingSinceSeconds = undefined;
    else this.#movingSinceSeconds ??= this.clock.monotonicSeconds();
  }

  /** What a motion that is under way may still take [s]; 0: overdue. */
  get leftSeconds(): number {
    const since = this.#movingSinceSeconds;
    return since === undefined
      ? this.secondsMax
      : Math.max(0, this.secondsMax - (this.clock.monotonicSeconds() - since));
  }

  get isOverdue(): boolean {
    return this.leftSeconds === 0;
  }

  /** How long a command is waited for that goes out now [s]. */
  get commandSeconds(): number {
    return this.isOverdue ? overdueCommandSeconds : this.secondsMax;
  }
}
