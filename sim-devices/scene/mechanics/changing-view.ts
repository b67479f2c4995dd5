import { Random } from "../../../drivers/kit/random.ts";
import type { LightPath } from "../painter-contract.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";
import { Wander } from "./wander.ts";

/** What of a light path changes by itself, besides the Sun's place and thin cloud; absent what does not. */
export type ChangedView = Pick<
  LightPath,
  "hazeGradient" | "seeingTimes" | "filterWarmerCelsius" | "sunAgeHours"
>;

/** Steps in which slow changes are taken: what has to be drawn anew for them is, but not for every frame. */
const steps = { seeing: 0.05, celsius: 0.02, structure: 0.002 };

/**
 * Air, wind, filter and Sun as they change by themselves: haze that is thicker on one side, seeing that comes and
 * goes, a tube that shakes, a filter that warms and cools, a Sun that is another after an hour.
 * A function of the scene and time only.
 */
export class ChangingView {
  readonly #haze: readonly [Wander, Wander] | undefined;
  readonly #seeing: Wander | undefined;
  readonly #shake: readonly [Wander, Wander] | undefined;
  readonly #warmth: Wander | undefined;
  readonly #startMs: number;

  constructor(readonly spec: SceneSpec) {
    const random = new Random(spec.seed).fork("changing view");
    const wander = (name: string, { periodSeconds }: { readonly periodSeconds: number }) =>
      Wander.normal(random.fork(name), periodSeconds);
    const { hazeGradient, seeingWander } = spec.sky;
    const { windShake } = spec.mount;
    const { filterWarmth } = spec.rig;
    this.#haze = hazeGradient && [wander("haze x", hazeGradient), wander("haze y", hazeGradient)];
    this.#seeing = seeingWander && wander("seeing", seeingWander);
    this.#shake = windShake && [wander("shake east", windShake), wander("shake north", windShake)];
    this.#warmth = filterWarmth && wander("filter", filterWarmth);
    this.#startMs = Date.parse(spec.startUtc);
  }

  at(utcMs: number): ChangedView {
    const { sky, rig, sun } = this.spec;
    const view: { -readonly [Key in keyof ChangedView]: ChangedView[Key] } = {};
    if (this.#haze && sky.hazeGradient) {
      const [x, y] = this.#haze;
      const { rms } = sky.hazeGradient;
      view.hazeGradient = { acrossX: rms * x.at(utcMs), acrossY: rms * y.at(utcMs) };
    }
    if (this.#seeing && sky.seeingWander) {
      const times = Math.exp(sky.seeingWander.rms * this.#seeing.at(utcMs));
      view.seeingTimes = inSteps(times, steps.seeing);
    }
    if (this.#warmth && rig.filterWarmth) {
      view.filterWarmerCelsius = inSteps(rig.filterWarmth.rmsCelsius * this.#warmth.at(utcMs), steps.celsius);
    }
    if (sun.changePerHour) {
      view.sunAgeHours = inSteps((utcMs - this.#startMs) / 3.6e6, steps.structure / sun.changePerHour);
    }
    return view;
  }

  /** How far the wind has pushed the line of sight [arcsec]. */
  shakeArcsec(utcMs: number): { readonly east: number; readonly north: number } {
    const { windShake } = this.spec.mount;
    if (!this.#shake || !windShake) return { east: 0, north: 0 };
    const [east, north] = this.#shake;
    return { east: windShake.rmsArcsec * east.at(utcMs), north: windShake.rmsArcsec * north.at(utcMs) };
  }
}

function inSteps(value: number, step: number): number {
  return step * Math.round(value / step);
}
