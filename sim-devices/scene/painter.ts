import type { ExposureAsk, LightPath } from "./painter-contract.ts";
import type { SceneSpec } from "./scene-spec.ts";

/** What of the light path the rig's own pattern depends on. */
export type TrainState = Pick<LightPath, "wheelSlot" | "rotatorDegrees" | "focusSteps">;

/** One dust shadow as it falls on the sensor. */
export interface DustShadow {
  readonly xPx: number;
  readonly yPx: number;
  readonly diameterPx: number;
  /** Diameter of the bright middle that a central obstruction leaves; 0 without one. */
  readonly holePx: number;
  /** Fraction of the light lost inside the shadow. */
  readonly depth: number;
}

/** The scene's true values, for judging what was measured. Arrays cover the whole unbinned sensor, row-major. */
export interface SceneTruth {
  readonly widthPx: number;
  readonly heightPx: number;
  /** The multiplicative pattern that a perfect flat divides out; mean 1 over the sensor. */
  readonly flat: Float32Array;
  /** 1 where a pixel is hot, 2 where it is dead, else 0. */
  readonly defects: Uint8Array;
  readonly dust: readonly DustShadow[];
  readonly arcsecPerPx: number;
}

/** Paints what the camera would send. */
export class ScenePainter {
  constructor(readonly spec: SceneSpec) {}
  /** Words as the camera sends them, binned, row-major over the asked region. */
  paint(_light: LightPath, _ask: ExposureAsk): Uint16Array {
    throw new Error("in work");
  }
  truth(_train?: TrainState): SceneTruth {
    throw new Error("in work");
  }
}
