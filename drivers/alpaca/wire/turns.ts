/** From here on an answer is slow, and asking for several things at a time is worth it [s]. */
const slowSeconds = 0.3;
/** Answers within this many times the usual make room for one more, beyond the second for half as many. */
const widenWithin = 1.5;
const narrowBeyond = 2;

const forgottenPerAnswer = 0.05;

interface Waiting {
  readonly alone: boolean;
  start(): void;
}

/**
 * Who may be under way at a time, in the order asked. A quick server or device is asked for as many things as small ones
 * take; of a slow one for more with every answer that others beside it do not delay, so that one which works them off one
 * by one is left at that (the rule by which TCP finds its window, RFC 5681).
 */
export class Turns {
  #limits: { readonly quick: number; readonly slow: number };
  #width: number;
  #usualSeconds: number | undefined;
  #underWay = 0;
  #isAlone = false;
  readonly #waiting: Waiting[] = [];

  /**
   * @param limits at a time, of a quick one and at most of a slow one
   * @param isSlow known before: it begins with some more
   */
  constructor(limits: { readonly quick: number; readonly slow: number }, isSlow = false) {
    this.#limits = limits;
    this.#width = isSlow ? Math.max(limits.quick, limits.slow >> 2) : limits.quick;
  }

  get isSlow(): boolean {
    return (this.#usualSeconds ?? 0) >= slowSeconds;
  }

  /** @param alone nothing before it is still under way, and nothing after it begins; as many as like otherwise */
  async take<T>(work: () => Promise<T>, { alone }: { alone: boolean }, signal: AbortSignal): Promise<T> {
    signal.throwIfAborted();
    if (this.#waiting.length > 0 || !this.#mayStart(alone)) await this.#untilTurn(alone, signal);
    else this.#begin(alone);
    try {
      return await work();
    } finally {
      this.#underWay--;
      if (alone) this.#isAlone = false;
      this.#startNext();
    }
  }

  /** What a read took, without its waiting [s]. */
  note(seconds: number): void {
    const wasSlow = this.isSlow;
    // The quickest counts, and is forgotten slowly: a link gets worse too.
    const usual = this.#usualSeconds ?? seconds;
    this.#usualSeconds = Math.min(usual + (seconds - usual) * forgottenPerAnswer, seconds);
    const { quick, slow } = this.#limits;
    if (!this.isSlow) this.#width = quick;
    else if (!wasSlow) this.#width = Math.max(quick, slow >> 2);
    else if (seconds > narrowBeyond * this.#usualSeconds) this.#width = Math.max(1, this.#width >> 1);
    else if (seconds <= widenWithin * this.#usualSeconds) this.#width = Math.min(slow, this.#width + 1);
    this.#startNext();
  }

  /** A connection more was refused. @returns whether there were more than small servers take, which from now on there are not */
  refused(): boolean {
    const { quick } = this.#limits;
    if (this.#width <= quick) return false; // it takes none at all
    this.#width = quick;
    this.#limits = { quick, slow: quick };
    return true;
  }

  #mayStart(alone: boolean): boolean {
    return alone ? this.#underWay === 0 : !this.#isAlone && this.#underWay < this.#width;
  }

  #begin(alone: boolean): void {
    this.#underWay++;
    this.#isAlone = alone;
  }

  #untilTurn(alone: boolean, signal: AbortSignal): Promise<void> {
    return new Promise((resolve, reject) => {
      const waiting: Waiting = {
        alone,
        start: () => {
          signal.removeEventListener("abort", giveUp);
          resolve();
        },
      };
      const giveUp = () => {
        this.#waiting.splice(this.#waiting.indexOf(waiting), 1);
        reject(signal.reason);
        this.#startNext();
      };
      signal.addEventListener("abort", giveUp, { once: true });
      this.#waiting.push(waiting);
    });
  }

  #startNext(): void {
    for (let next = this.#waiting[0]; next && this.#mayStart(next.alone); next = this.#waiting[0]) {
      this.#waiting.shift();
      this.#begin(next.alone);
      next.start();
    }
  }
}
