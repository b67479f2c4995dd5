import { type DustShadow, dustShadows, type TrainState } from "./optics/dust-shadow.ts";
import { arcsecPerPx } from "./optics/image-geometry.ts";
import { diffuserFlatAduPerSecond, leakElectronsPerSecond, leakShape } from "./optics/light-leak.ts";
import { smoothPattern, wholePattern } from "./optics/rig-pattern.ts";
import type { ExposureAsk, LightPath } from "./painter-contract.ts";
import { addLeakRow, evenRow, readOutRow, sunRow } from "./sensor/expose-row.ts";
import { FrameNoise } from "./sensor/frame-noise.ts";
import { type SensorMaps, sensorMaps } from "./sensor/sensor-maps.ts";
import {
  binCodes,
  darkFactor,
  electronsPerCode,
  readNoiseElectrons,
  topCode,
  wordsPerCode,
  wordTable,
} from "./sensor/sensor-words.ts";
import type { SceneSpec } from "./spec/scene-spec.ts";
import { brightness } from "./sun/brightness.ts";
import { SunPicture } from "./sun/sun-picture.ts";

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
  /** At the gain and offset asked for. Words as sent are "adu". */
  readonly pedestalAdu: number;
  readonly electronsPerAdu: number;
  readonly readNoiseElectrons: number;
  /** Level of the diffuser flat above the pedestal at gain 0, mean over the sensor, clear sunlight above the air. */
  readonly flatAduPerSecond: number;
  /** Mean leak over mean flat, and where it falls (mean 1). */
  readonly leak: { readonly fractionOfFlat: number; readonly shape: Float32Array } | undefined;
}

/** What the true values depend on: the optical train, and the camera's settings. */
export type TruthFor = TrainState & { readonly gain: number; readonly offset: number };

/**
 * Paints what the camera would send. Everything drawn once is kept; a frame costs its noise,
 * and a resampled Sun when the Sun has moved.
 */
export class ScenePainter {
  readonly #sensor: SensorMaps;
  readonly #sun: SunPicture;
  readonly #words: Uint16Array;
  readonly #leak: Float32Array | undefined;
  #smooth: (Pick<TrainState, "rotatorDegrees" | "slip"> & { map: Float32Array }) | undefined;
  #pattern: { train: TrainState; map: Float32Array } | undefined;

  /** @throws Error if the surface image can't be read */
  constructor(readonly spec: SceneSpec) {
    this.#sensor = sensorMaps(spec);
    this.#sun = new SunPicture(spec);
    this.#words = wordTable(spec.camera);
    this.#leak = spec.rig.leak && leakShape(spec, spec.rig.leak);
  }

  /** Words as the camera sends them, binned, row-major over the asked region. */
  paint(light: LightPath, ask: ExposureAsk): Uint16Array {
    const { camera, seed } = this.spec;
    const { widthPx, heightPx } = ask.region;
    const noise = new FrameNoise(seed, ask.frameNumber);
    const counting = new FrameNoise(seed, ask.frameNumber, 1);
    const read = {
      readNoiseElectrons: readNoiseElectrons(camera, ask.gain),
      fullWellElectrons: camera.fullWellElectrons,
      codesPerElectron: 1 / electronsPerCode(camera, ask.gain),
      pedestalCodes: ask.offset * camera.codesPerOffsetUnit + camera.pedestalWanderCodes * noise.gauss(),
      topCode: topCode(camera),
    };
    const codes = new Uint16Array(widthPx * heightPx);
    const gauss = new Float32Array(widthPx);
    const columns = this.#sensor.columnOffsetElectrons;
    this.#forEachRow(light, ask, (row, y) => {
      noise.fillGauss(gauss, widthPx);
      readOutRow(codes, y * widthPx, row, widthPx, gauss, columns, ask.region.xPx, read, counting);
    });
    const binned = ask.binning > 1 ? binCodes(codes, widthPx, heightPx, ask.binning, camera) : codes;
    const words = this.#words;
    for (let i = 0; i < binned.length; i++) binned[i] = words[binned[i]!]!;
    return binned;
  }

  /** The same frame without noise, full well or converter: mean electrons of every unbinned pixel of the region. */
  expectedElectrons(light: LightPath, ask: ExposureAsk): Float32Array {
    const { widthPx, heightPx } = ask.region;
    const out = new Float32Array(widthPx * heightPx);
    this.#forEachRow(light, ask, (row, y) => out.set(row, y * widthPx));
    return out;
  }

  /** True values; for the state in which the scene starts where nothing else is said. */
  truth(change: Partial<TruthFor> = {}): SceneTruth {
    const { camera, startsWith, rig } = this.spec;
    const state: TruthFor = { ...startsWith, ...change };
    const flatAduPerSecond = diffuserFlatAduPerSecond(this.spec, state.wheelSlot);
    const adu = wordsPerCode(camera);
    return {
      widthPx: camera.widthPx,
      heightPx: camera.heightPx,
      flat: this.#patternFor(state).slice(),
      defects: this.#sensor.defects.slice(),
      dust: dustShadows(this.spec, state),
      arcsecPerPx: arcsecPerPx(this.spec),
      pedestalAdu: state.offset * camera.codesPerOffsetUnit * adu,
      electronsPerAdu: electronsPerCode(camera, state.gain) / adu,
      readNoiseElectrons: readNoiseElectrons(camera, state.gain),
      flatAduPerSecond,
      leak: rig.leak &&
        this.#leak && { fractionOfFlat: rig.leak.aduPerSecond / flatAduPerSecond, shape: this.#leak.slice() },
    };
  }

  #forEachRow(light: LightPath, ask: ExposureAsk, use: (row: Float32Array, y: number) => void): void {
    const { region, seconds } = ask;
    checkRegion(this.spec, ask);
    const width = region.widthPx;
    const pattern = this.#patternFor(light);
    const dark = this.#sensor.darkElectronsPerSecond;
    const darkSeconds = seconds * darkFactor(this.spec.camera, ask.sensorCelsius);
    const { evenElectronsPerSecond, discElectronsPerSecond } = brightness(this.spec, light);
    const even = seconds * evenElectronsPerSecond;
    const disc = seconds * discElectronsPerSecond;
    const sun = disc > 0 ? this.#sun.over(light, region) : undefined;
    const leak = this.spec.rig.leak;
    const leaking = leak ? seconds * leakElectronsPerSecond(this.spec, leak, light) : 0;
    const row = new Float32Array(width);
    for (let y = 0; y < region.heightPx; y++) {
      const start = (region.yPx + y) * this.spec.camera.widthPx + region.xPx;
      if (sun) sunRow(row, width, pattern, start, even, disc, sun, y * width, dark, darkSeconds);
      else evenRow(row, width, pattern, start, even, dark, darkSeconds);
      if (leaking > 0) addLeakRow(row, width, this.#leak!, start, leaking);
      use(row, y);
    }
  }

  #patternFor(train: TrainState): Float32Array {
    const { wheelSlot, rotatorDegrees, focusSteps, slip } = train;
    const kept = this.#pattern?.train;
    if (
      kept?.wheelSlot !== wheelSlot ||
      kept.rotatorDegrees !== rotatorDegrees ||
      kept.focusSteps !== focusSteps ||
      kept.slip !== slip
    ) {
      const smooth = this.#smooth;
      if (smooth?.rotatorDegrees !== rotatorDegrees || smooth.slip !== slip)
        this.#smooth = { rotatorDegrees, slip, map: smoothPattern(this.spec, rotatorDegrees, slip) };
      const map = wholePattern(this.spec, train, this.#smooth!.map, this.#sensor.response);
      this.#pattern = { train: { wheelSlot, rotatorDegrees, focusSteps, slip }, map };
    }
    return this.#pattern!.map;
  }
}

function checkRegion(spec: SceneSpec, ask: ExposureAsk): void {
  const { xPx, yPx, widthPx, heightPx } = ask.region;
  const { camera } = spec;
  const whole = [xPx, yPx, widthPx, heightPx, ask.binning].every(Number.isInteger);
  if (!whole || xPx < 0 || yPx < 0 || xPx + widthPx > camera.widthPx || yPx + heightPx > camera.heightPx) {
    throw new RangeError(
      `Region ${widthPx} x ${heightPx} at (${xPx}, ${yPx}) px is not on the sensor of ${camera.widthPx} x ${camera.heightPx} px`,
    );
  }
}
