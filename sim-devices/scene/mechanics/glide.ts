import type { Clock, ClockTimer } from "../../../drivers/kit/clock.ts";

export interface GlideOptions {
  readonly clock: Clock;
  readonly position: number;
  readonly unitsPerSecond: number;
  /** Slack between the motor and what it moves: after a reversal nothing moves for so many units. */
  readonly play?: number;
  readonly note: (what: GlideNews, detail?: string) => void;
}

export type GlideNews = "moveStarted" | "moveOverlapped" | "moveEnded" | "moveStopped" | "moveJammed";

/**
 * Something that travels along a line at one speed: a leaf, a focuser, a wheel, a temperature.
 * Where it is follows from the clock; no timer runs but the one for its arrival.
 * `position` is the truth, `reported` is what its electronics say; only a fault makes them differ.
 */
export class Glide {
  readonly #clock: Clock;
  readonly #play: number;
  readonly #note: (what: GlideNews, detail?: string) => void;
  unitsPerSecond: number;
  #from: number;
  #to: number;
  #loadFrom: number;
  #startedMs: number;
  #wanted: number;
  #timer: ClockTimer | undefined;
  #moving = false;
  /** Of each jam that lasts. */
  readonly #jams = new Set<{ readonly at: number }>();
  #jammed = false;
  readonly #pretences = new Set<object>();
  #pretendedFrom: number | undefined;

  constructor(options: GlideOptions) {
    this.#clock = options.clock;
    this.#play = options.play ?? 0;
    this.#note = options.note;
    this.unitsPerSecond = options.unitsPerSecond;
    this.#from = this.#to = this.#wanted = this.#loadFrom = options.position;
    this.#startedMs = options.clock.nowMs();
  }

  /** Where the motor is. */
  get position(): number {
    return this.#pretendedFrom ?? this.#driven();
  }

  /** Where the moved part is: behind the motor by up to the play. */
  get load(): number {
    const motor = this.position;
    return Math.min(motor, Math.max(motor - this.#play, this.#loadFrom));
  }

  get reported(): number {
    return this.#driven();
  }

  /** Where it was last told to go. */
  get target(): number {
    return this.#wanted;
  }

  get moving(): boolean {
    return this.#moving;
  }

  /** On its way, and not stuck. */
  get travelling(): boolean {
    return this.#moving && !this.#jammed;
  }

  moveTo(target: number): void {
    if (!this.#moving) this.#note("moveStarted");
    else this.refuse(target);
    this.#wanted = target;
    this.#leave(target);
  }

  /** A command to another place came while one was under way. */
  refuse(target: number): void {
    if (target !== this.#wanted) this.#note("moveOverlapped", `to ${target}`);
  }

  stop(): void {
    if (!this.#moving) return;
    this.#rest(this.#driven());
    this.#wanted = this.#from;
    this.#note("moveStopped");
  }

  /**
   * Fault: sticks at that place, or where it is now. It goes on claiming to move.
   * @returns how to end it; an interrupted move goes on
   */
  jam(at?: number): () => void {
    const jam = { at: at ?? this.#driven() };
    this.#jams.add(jam);
    if (this.#moving) this.#leave(this.#wanted);
    return () => {
      if (this.#jams.delete(jam) && this.#moving) this.#leave(this.#wanted);
    };
  }

  /**
   * Fault: from now on obeys in its reports only.
   * @param position where it stands meanwhile; left out, where it is
   * @returns how to end it
   */
  pretend(position?: number): () => void {
    this.#pretendedFrom = position ?? this.position;
    if (position !== undefined) this.#note("moveEnded");
    const pretence = {};
    this.#pretences.add(pretence);
    return () => {
      if (!this.#pretences.delete(pretence) || this.#pretences.size > 0) return;
      this.#rest(this.position);
      this.#pretendedFrom = undefined;
      this.#wanted = this.#from;
      this.#note("moveStopped"); // a driver that looks sees where it is
    };
  }

  /** The world ends: no timer is left. */
  close(): void {
    this.#timer?.cancel();
  }

  #driven(): number {
    if (!this.#moving || this.#jammed) return this.#from;
    const gone = ((this.#clock.nowMs() - this.#startedMs) / 1000) * this.unitsPerSecond;
    const whole = Math.abs(this.#to - this.#from);
    return gone >= whole ? this.#to : this.#from + Math.sign(this.#to - this.#from) * gone;
  }

  #rest(at: number): void {
    this.#timer?.cancel();
    this.#timer = undefined;
    if (this.#pretendedFrom === undefined)
      this.#loadFrom = Math.min(at, Math.max(at - this.#play, this.#loadFrom));
    this.#from = this.#to = at;
    this.#moving = false;
    this.#jammed = false;
  }

  #leave(target: number): void {
    this.#rest(this.#driven());
    this.#moving = true;
    this.#startedMs = this.#clock.nowMs();
    const inTheWay = [...this.#jams]
      .map(({ at }) => at)
      .filter((at) => (at - this.#from) * (at - target) <= 0);
    const jams = inTheWay.length > 0;
    this.#to = jams
      ? inTheWay.reduce((a, b) => (Math.abs(b - this.#from) < Math.abs(a - this.#from) ? b : a))
      : target;
    this.#timer = this.#clock.setTimer(Math.abs(this.#to - this.#from) / this.unitsPerSecond, () => {
      const at = this.#to;
      this.#rest(at);
      if (jams) {
        this.#moving = this.#jammed = true;
        this.#note("moveJammed");
      } else {
        this.#note("moveEnded");
      }
    });
  }
}
