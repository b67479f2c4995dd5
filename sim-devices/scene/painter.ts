import { type DustShadow, dustShadows, type TrainState } from "./optics/dust-shadow.ts";
import { arcsecPerPx } from "./optics/image-geometry.ts";
import { diffuserFlatAduPerSecond } from "./optics/light-leak.ts";
import type { ExposureAsk, LightPath } from "./painter-contract.ts";
import { measuredOverTrue } from "./sensor/bent-response.ts";
import { readOutRow } from "./sensor/expose-row.ts";
import { FrameNoise } from "./sensor/frame-noise.ts";
import { rowOffsets } from "./sensor/row-offsets.ts";
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
import { SensorLight } from "./sensor-light.ts";
import type { SceneSpec } from "./spec/scene-spec.ts";

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
  readonly #light: SensorLight;
  readonly #words: Uint16Array;

  /** @throws Error if the surface image can't be read */
  constructor(readonly spec: SceneSpec) {
    this.#sensor = sensorMaps(spec);
    this.#light = new SensorLight(spec, this.#sensor);
    this.#words = wordTable(spec.camera);
  }

  /** Words as the camera sends them, binned, row-major over the asked region. */
  paint(light: LightPath, ask: ExposureAsk): Uint16Array {
    const { camera, seed } = this.spec;
    const { widthPx, heightPx } = ask.region;
    const darkSeconds = ask.seconds * darkFactor(camera, ask.sensorCelsius);
    const noise = new FrameNoise(seed, ask.frameNumber);
    const counting = new FrameNoise(seed, ask.frameNumber, 1);
    const read = {
      readNoiseElectrons: readNoiseElectrons(camera, ask.gain),
      fullWellElectrons: camera.fullWellElectrons,
      codesPerElectron: 1 / electronsPerCode(camera, ask.gain),
      pedestalCodes: ask.offset * camera.codesPerOffsetUnit + camera.pedestalWanderCodes * noise.gauss(),
      topCode: topCode(camera),
      response: camera.response,
    };
    const codes = new Uint16Array(widthPx * heightPx);
    const gauss = new Float32Array(widthPx);
    const columns = this.#sensor.columnOffsetElectrons;
    const rowOffset = rowOffsets(this.spec, ask.frameNumber);
    const { pedestalCodes } = read;
    this.#light.forEachRow(light, ask, darkSeconds, (row, y) => {
      if (rowOffset) read.pedestalCodes = pedestalCodes + rowOffset(ask.region.yPx + y);
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
    const darkSeconds = ask.seconds * darkFactor(this.spec.camera, ask.sensorCelsius);
    this.#light.forEachRow(light, ask, darkSeconds, (row, y) => out.set(row, y * widthPx));
    return out;
  }

  /**
   * What a flat taken along this light path holds besides the true flat: ln(light as measured / true flat), its mean
   * over the sensor 0. Sheet, clear share, gap, ghosts, leak and the sensor's response at this level; without a
   * diffuser, all of the Sun that is left.
   */
  lightError(light: LightPath, exposure: Pick<ExposureAsk, "seconds" | "gain">): Float32Array {
    const { camera } = this.spec;
    const { widthPx, heightPx, response } = camera;
    const region = { xPx: 0, yPx: 0, widthPx, heightPx };
    const fullScaleElectrons = electronsPerCode(camera, exposure.gain) * topCode(camera);
    const flat = this.#light.patternFor(light);
    const error = new Float32Array(widthPx * heightPx);
    let sum = 0;
    this.#light.forEachRow(light, { region, binning: 1, seconds: exposure.seconds }, 0, (row, y) => {
      for (let x = 0; x < widthPx; x++) {
        const i = y * widthPx + x;
        const measured = row[x]! * (response ? measuredOverTrue(response, row[x]! / fullScaleElectrons) : 1);
        error[i] = Math.log(measured / flat[i]!);
        sum += error[i]!;
      }
    });
    return error.map((value) => value - sum / error.length);
  }

  /** True values; for the state in which the scene starts where nothing else is said. */
  truth(change: Partial<TruthFor> = {}): SceneTruth {
    const { camera, startsWith, rig } = this.spec;
    const state: TruthFor = { ...startsWith, ...change };
    const flatAduPerSecond = diffuserFlatAduPerSecond(this.spec, state.wheelSlot);
    const adu = wordsPerCode(camera);
    const { leak } = this.#light;
    return {
      widthPx: camera.widthPx,
      heightPx: camera.heightPx,
      flat: this.#light.patternFor(state).slice(),
      defects: this.#sensor.defects.slice(),
      dust: dustShadows(this.spec, state),
      arcsecPerPx: arcsecPerPx(this.spec),
      pedestalAdu: state.offset * camera.codesPerOffsetUnit * adu,
      electronsPerAdu: electronsPerCode(camera, state.gain) / adu,
      readNoiseElectrons: readNoiseElectrons(camera, state.gain),
      flatAduPerSecond,
      leak: rig.leak &&
        leak && { fractionOfFlat: rig.leak.aduPerSecond / flatAduPerSecond, shape: leak.slice() },
    };
  }
}
