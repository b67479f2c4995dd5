import type { Clock } from "../../../drivers/kit/clock.ts";
import { modulo, wrapDegrees } from "../sun/sun-place.ts";
import { Glide, type GlideNews } from "./glide.ts";

export interface DomeSpec {
  readonly degreesPerSecond: number;
  readonly shutterSeconds: number;
  readonly startsOpen: boolean;
  readonly startAzimuthDegrees: number;
  readonly parkAzimuthDegrees: number;
  /** How far off the slit's middle light still comes in; 180 for a roof that slides off whole. */
  readonly slitHalfWidthDegrees: number;
}

/** A dome or sliding roof: a shutter, and a slit that turns. */
export class DomeMechanics {
  readonly shutter: Glide;
  readonly #turn: Glide;
  parked = false;

  constructor(
    readonly spec: DomeSpec,
    clock: Clock,
    note: (part: "dome" | "shutter", what: GlideNews) => void,
  ) {
    this.shutter = new Glide({
      clock,
      position: spec.startsOpen ? 1 : 0,
      unitsPerSecond: 1 / spec.shutterSeconds,
      note: (what) => note("shutter", what),
    });
    this.#turn = new Glide({
      clock,
      position: spec.startAzimuthDegrees,
      unitsPerSecond: spec.degreesPerSecond,
      note: (what) => note("dome", what),
    });
  }

  get azimuthDegrees(): number {
    return modulo(this.#turn.reported, 360);
  }
  get turning(): boolean {
    return this.#turn.moving;
  }

  /** By the shorter way round. */
  turnTo(azimuth: number): void {
    this.#turn.moveTo(this.#turn.reported + wrapDegrees(azimuth - this.#turn.reported));
  }

  stop(): void {
    this.#turn.stop();
    this.shutter.stop();
  }

  /** The world ends: no timer is left. */
  close(): void {
    this.#turn.close();
    this.shutter.close();
  }

  /** What fraction of the light comes through towards that azimuth. */
  openFraction(towardsAzimuth: number): number {
    const off = Math.abs(wrapDegrees(towardsAzimuth - this.#turn.position));
    return off <= this.spec.slitHalfWidthDegrees ? this.shutter.position : 0;
  }
}
