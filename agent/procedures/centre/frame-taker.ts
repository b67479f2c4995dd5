import type { Camera } from "../../../drivers/roles/camera.ts";
import type { Disc, Sighting } from "../../imaging/disc/disc.ts";
import { findDisc } from "../../imaging/disc/disc.ts";
import { countCodes, quantileAdu } from "../../imaging/exposure/histogram.ts";
import type { Shape } from "../../imaging/numerics/shape.ts";
import { TooBrightError } from "./centre-errors.ts";
import { type CoveredLevel, clipCodeAdu, clippedShare, darkBelowAdu, pedestalAdu } from "./covered-level.ts";
import { nextExposureSeconds } from "./next-exposure.ts";

/** One look through the telescope, at an exposure that suits what is seen. */
export type Observation = Sighting & {
  readonly exposureSeconds: number;
  /** Median signal per second of exposure; of a dark frame, what it could be at most [adu/s]. */
  readonly rateAduPerSecond: number;
  /** 99.9th percentile above the pedestal per second [adu/s]; a lower bound when the frame clips. */
  readonly edgeAduPerSecond: number;
};

export type LimbObservation = Observation & { readonly disc: Disc };

export interface FrameTakerOptions {
  readonly camera: Camera;
  readonly uniform: () => number;
  readonly shape: Shape;
  /** From the optics, or from an earlier calibration, which is surer. */
  readonly discRadiusPx: number;
  readonly radiusToleranceFraction: number;
  readonly flattening: number;
  /** Covered frames at two exposures; without a cover, one taken from the first frame itself. */
  readonly covered: readonly CoveredLevel[];
  readonly topCodeAdu: number;
  /** Longest exposure for looking. */
  readonly exposureSecondsMax: number;
  /** Highest edge rate that is not alarming, and how it is known. */
  readonly edgeLimit: { readonly aduPerSecond: number; readonly because: string } | undefined;
  /** Where to begin once the first frame was harmless. */
  readonly exposureSecondsGuess: number | undefined;
  /** Gets every observation with light in it. */
  readonly onLight: (look: Observation, pedestalAdu: number) => void;
}

const framesPerLookMax = 9;

/** Looks, adapts the exposure, and shouts when it is too bright. */
export class FrameTaker {
  readonly #o: FrameTakerOptions;
  #radius: { radiusPx: number; toleranceFraction: number };
  #exposureSeconds: number;
  #guess: number | undefined;
  #newest: { look: Observation; clipped: number } | undefined;
  /** The brightest frame so far with light and no limb of the right size. */
  #puzzling: { pixelsAdu: Uint16Array; look: Observation } | undefined;
  frameCount = 0;

  constructor(options: FrameTakerOptions) {
    this.#o = options;
    this.#radius = {
      radiusPx: options.discRadiusPx,
      toleranceFraction: options.radiusToleranceFraction,
    };
    this.#exposureSeconds = options.camera.limits.exposureSeconds.min;
    this.#guess = options.exposureSecondsGuess;
  }

  get shape(): Shape {
    return this.#o.shape;
  }
  get discRadiusPx(): number {
    return this.#radius.radiusPx;
  }
  get exposureSeconds(): number {
    return this.#exposureSeconds;
  }

  get pedestalAdu(): number {
    return pedestalAdu(this.#o.covered, this.#exposureSeconds);
  }

  /** How bright the newest frame was, for the rig's history; undefined when it clipped or was faint. */
  centredEdgeAduPerSecond(): number | undefined {
    if (!this.#newest || this.#newest.clipped > 0) return undefined;
    const { look } = this.#newest;
    const level = (look.edgeAduPerSecond * look.exposureSeconds) / this.#fullSignalAdu(look.exposureSeconds);
    return level > 0.02 ? look.edgeAduPerSecond : undefined;
  }

  /** From now on the disc is known to be this large. */
  learnRadius(radiusPx: number, toleranceFraction: number): void {
    this.#radius = { radiusPx, toleranceFraction };
  }

  /** The first uncovered frame: always at the shortest exposure. @throws TooBrightError */
  async firstLight(signal: AbortSignal): Promise<Observation> {
    this.#exposureSeconds = this.#o.camera.limits.exposureSeconds.min;
    const look = await this.#once(signal);
    if (this.#guess !== undefined) this.#exposureSeconds = this.#clamp(this.#guess);
    return look;
  }

  /** Looks until the exposure suits what is seen, or can get no better. @throws TooBrightError */
  async observe(signal: AbortSignal): Promise<Observation> {
    for (let frame = 1; ; frame++) {
      const look = await this.#once(signal);
      const next = this.#clamp(nextExposureSeconds(look, this.#fullSignalAdu(look.exposureSeconds)));
      if (Math.abs(next / look.exposureSeconds - 1) < 0.02 || frame === framesPerLookMax) return look;
      this.#exposureSeconds = next;
    }
  }

  /** After a search in vain: a disc that the rig file's optics do not explain. Takes a while, so it is asked last. */
  discOfAnotherSize(): { readonly radiusPx: number; readonly expectedPx: number } | undefined {
    if (!this.#puzzling) return undefined;
    const { covered, shape, uniform } = this.#o;
    const { pixelsAdu, look } = this.#puzzling;
    const sighting = findDisc(pixelsAdu, shape, {
      pedestalAdu: pedestalAdu(covered, look.exposureSeconds),
      darkBelowAdu: darkBelowAdu(covered, look.exposureSeconds),
      uniform,
    });
    if (sighting.seen !== "limb") return undefined;
    return { radiusPx: sighting.disc.radiusPx, expectedPx: this.#radius.radiusPx };
  }

  #clamp(seconds: number): number {
    const { min, max } = this.#o.camera.limits.exposureSeconds;
    return Math.max(min, Math.min(seconds, max, this.#o.exposureSecondsMax));
  }

  #fullSignalAdu(exposureSeconds: number): number {
    return this.#o.topCodeAdu - pedestalAdu(this.#o.covered, exposureSeconds);
  }

  async #once(signal: AbortSignal): Promise<Observation> {
    const { camera, covered, topCodeAdu, shape, flattening, uniform } = this.#o;
    const frame = await camera.expose({ exposureSeconds: this.#exposureSeconds, frameType: "light" }, signal);
    this.frameCount++;
    const exposureSeconds = this.#exposureSeconds;
    const pedestal = pedestalAdu(covered, exposureSeconds);
    const counts = countCodes(frame.pixelsAdu);
    const clipAdu = clipCodeAdu(counts, pedestal, topCodeAdu);
    const sighting = findDisc(frame.pixelsAdu, shape, {
      pedestalAdu: pedestal,
      darkBelowAdu: darkBelowAdu(covered, exposureSeconds),
      radius: this.#radius,
      flattening,
      uniform,
    });
    const clipped = clippedShare(counts, pedestal, clipAdu);
    const edgeAdu = quantileAdu(counts, 0.999)! - pedestal;
    const look: Observation = {
      ...sighting,
      peakAdu: clipped > 0.01 ? this.#fullSignalAdu(exposureSeconds) : sighting.peakAdu,
      exposureSeconds,
      rateAduPerSecond:
        Math.max(sighting.medianAdu, sighting.seen === "dark" ? darkBelowAdu(covered, exposureSeconds) : 0) /
        exposureSeconds,
      edgeAduPerSecond: edgeAdu / exposureSeconds,
    };
    this.#newest = { look, clipped };
    if (look.seen !== "dark") this.#o.onLight(look, pedestal);
    this.#checkBrightness(look, clipped);
    const { pixelsAdu } = frame;
    const isPuzzling =
      look.seen === "glow" && look.edgeAduPerSecond >= (this.#puzzling?.look.edgeAduPerSecond ?? 0);
    if (isPuzzling) this.#puzzling = { pixelsAdu, look };
    return look;
  }

  #checkBrightness(look: Observation, clipped: number): void {
    const { edgeLimit, camera } = this.#o;
    const { exposureSeconds } = look;
    // The smoothed peak, not the edge itself: at the shortest exposure noise alone makes a high edge per second.
    const peakAduPerSecond = look.peakAdu / exposureSeconds;
    if (edgeLimit && look.seen !== "dark" && peakAduPerSecond > edgeLimit.aduPerSecond) {
      const times = (peakAduPerSecond / edgeLimit.aduPerSecond).toFixed(1);
      throw new TooBrightError({ what: `${times} times the limit (${edgeLimit.because})`, exposureSeconds });
    }
    // No filtered Sun fills the converter at the shortest exposure, whatever the history says or does not say.
    if (clipped > 0.5 && exposureSeconds <= camera.limits.exposureSeconds.min * 1.001) {
      const share = `${(clipped * 100).toFixed(0)} % of the lit pixels clip at the camera's shortest exposure`;
      throw new TooBrightError({ what: share, exposureSeconds });
    }
  }
}
