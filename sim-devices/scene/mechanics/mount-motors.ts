import type { Clock } from "../../../drivers/kit/clock.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";
import type { AxisAngles } from "./mount-limits.ts";
import type { AxisRates } from "./mount-rates.ts";

/** The moment at which a motion ends by itself, and what is otherwise from then on. */
export interface MotionEnd {
  readonly atMs: number;
  happen(): void;
}

const still: AxisRates = { ha: 0, dec: 0 };

/**
 * Two motors that turn at constant rates between commands [degrees/s on the axis]; where they are is summed up
 * whenever somebody looks.
 */
export class MountMotors {
  readonly #clock: Clock;
  readonly #ha: Axis;
  readonly #dec: Axis;
  readonly #ends = new Set<MotionEnd>();
  #summedMs: number;
  #ending = false;
  #tracking: AxisRates | undefined;
  #slew = still;
  readonly #jog = { east: 0, north: 0 };
  readonly #pulse = { east: 0, north: 0 };
  #driftArcsec = { east: 0, north: 0 };
  #held = false;

  constructor(
    clock: Clock,
    readonly spec: Pick<SceneSpec["mount"], "backlashArcsec" | "driftArcsecPerSecond">,
    start: AxisAngles,
  ) {
    this.#clock = clock;
    this.#ha = new Axis(start.hourAngleDegrees, spec.backlashArcsec.east / 3600);
    this.#dec = new Axis(start.decDegrees, spec.backlashArcsec.north / 3600);
    this.#summedMs = clock.nowMs();
  }

  /** What the encoders on the motors say. */
  get angles(): AxisAngles {
    this.sum();
    return { hourAngleDegrees: this.#ha.motorDegrees, decDegrees: this.#dec.motorDegrees };
  }

  /** Where the tube is, play included, and how far it has drifted. */
  get tube(): AxisAngles & { readonly driftArcsec: { readonly east: number; readonly north: number } } {
    this.sum();
    return {
      hourAngleDegrees: this.#ha.tubeDegrees,
      decDegrees: this.#dec.tubeDegrees,
      driftArcsec: { ...this.#driftArcsec },
    };
  }

  get jogging(): boolean {
    return this.#jog.east !== 0 || this.#jog.north !== 0;
  }

  /** Fault: neither axis turns, whatever is asked of them. */
  hold(on: boolean): void {
    this.sum();
    this.#held = on;
  }

  get rates(): AxisRates {
    if (this.#held) return still;
    const track = this.#tracking ?? still;
    return {
      ha: this.#slew.ha + track.ha - this.#jog.east - this.#pulse.east, // east is against the hour angle
      dec: this.#slew.dec + track.dec + this.#jog.north + this.#pulse.north,
    };
  }

  /** Turns with the sky from now on; undefined: not at all. Only a tube that tracks drifts. */
  track(rates: AxisRates | undefined): void {
    this.sum();
    this.#tracking = rates;
  }
  slew(rates: AxisRates): void {
    this.sum();
    this.#slew = rates;
  }
  jog(axis: "east" | "north", degreesPerSecond: number): void {
    this.sum();
    this.#jog[axis] = degreesPerSecond;
  }
  pulse(axis: "east" | "north", degreesPerSecond: number): void {
    this.sum();
    this.#pulse[axis] = degreesPerSecond;
  }
  /** A slew ends where it was meant to: what had drifted is gone. */
  forgetDrift(): void {
    this.sum();
    this.#driftArcsec = { east: 0, north: 0 };
  }

  /**
   * Has it happen at its own moment, whenever that is noticed; `finish` notices it at the latest. Counted from when the
   * motion began: the clock may have gone on since.
   */
  endAfter(seconds: number, happen: () => void): MotionEnd {
    const end: MotionEnd = { atMs: this.#summedMs + seconds * 1000, happen };
    this.#ends.add(end);
    return end;
  }

  callOff(end: MotionEnd | undefined): void {
    if (end) this.#ends.delete(end);
  }

  /** The timer of that end is here. One that counts whole milliseconds may be early: the rest of the way is gone too. */
  finish(end: MotionEnd): void {
    this.sum();
    if (!this.#ends.delete(end)) return;
    this.#bring(end);
  }

  /**
   * Brings everything up to now. A motion ends at its own moment even if its timer comes late, as timers of a clock
   * that runs fast do: a millisecond of theirs would be arcminutes of a slew.
   */
  sum(): void {
    if (this.#ending) return; // what happens at an end happens then, not now
    const nowMs = this.#clock.nowMs();
    for (const end of [...this.#ends].sort((a, b) => a.atMs - b.atMs)) {
      if (end.atMs > nowMs || !this.#ends.delete(end)) continue;
      this.#bring(end);
    }
    this.#sumUntil(nowMs);
  }

  #bring(end: MotionEnd): void {
    this.#sumUntil(end.atMs);
    this.#ending = true;
    end.happen();
    this.#ending = false;
  }

  #sumUntil(untilMs: number): void {
    const seconds = (untilMs - this.#summedMs) / 1000;
    if (seconds <= 0) return;
    this.#summedMs = untilMs;
    const { ha, dec } = this.rates;
    this.#ha.turn(ha * seconds);
    const wanted = this.#dec.motorDegrees + dec * seconds;
    this.#dec.turn(Math.max(-90, Math.min(90, wanted)) - this.#dec.motorDegrees);
    if (!this.#tracking) return;
    this.#driftArcsec.east += this.spec.driftArcsecPerSecond.east * seconds;
    this.#driftArcsec.north += this.spec.driftArcsecPerSecond.north * seconds;
  }
}

/** One geared axis: the motor turns, and the tube follows once the play is taken up. */
class Axis {
  /** What the encoder on the motor says. */
  motorDegrees: number;
  /** Where the tube is. */
  tubeDegrees: number;

  constructor(
    startDegrees: number,
    readonly playDegrees: number,
  ) {
    this.motorDegrees = startDegrees;
    this.tubeDegrees = startDegrees;
  }

  turn(byDegrees: number): void {
    this.motorDegrees += byDegrees;
    this.tubeDegrees = Math.min(
      this.motorDegrees,
      Math.max(this.motorDegrees - this.playDegrees, this.tubeDegrees),
    );
  }
}
