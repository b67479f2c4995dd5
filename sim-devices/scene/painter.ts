import { brightness } from "./brightness.ts";
import { type DustShadow, dustShadows, type TrainState } from "./dust-shadow.ts";
import { addLeakRow, evenRow, readOutRow, sunRow } from "./expose-row.ts";
import { FrameNoise } from "./frame-noise.ts";
import { arcsecPerPx, imageGeometry, motionPx, sameToEye, sunCentrePx } from "./image-geometry.ts";
import { leakElectronsPerSecond, leakShape } from "./light-leak.ts";
import type { ExposureAsk, LightPath } from "./painter-contract.ts";
import { smoothPattern, wholePattern } from "./rig-pattern.ts";
import type { SceneSpec } from "./scene-spec.ts";
import { type SensorMaps, sensorMaps } from "./sensor-maps.ts";
import {
  binCodes,
  darkFactor,
  electronsPerCode,
  readNoiseElectrons,
  topCode,
  wordTable,
} from "./sensor-words.ts";
import { type Patch, SunPlane } from "./sun-plane.ts";
import { SunSurface } from "./sun-surface.ts";

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

/** Sun drawn for this place stands for places this near [px]. */
const SAME_PLACE_PX = 0.02;
/** A picture that moves less than this during the exposure is not smeared [px]. */
const SMEAR_PX_MIN = 0.4;

/**
 * Paints what the camera would send. Everything drawn once is kept; a frame costs its noise,
 * and a resampled Sun when the Sun has moved.
 */
export class ScenePainter {
  readonly #sensor: SensorMaps;
  readonly #surface: SunSurface;
  readonly #words: Uint16Array;
  readonly #leak: Float32Array | undefined;
  #smooth: { rotatorDegrees: number; map: Float32Array } | undefined;
  #pattern: { train: TrainState; map: Float32Array } | undefined;
  #plane: SunPlane | undefined;
  #sun:
    | {
        plane: SunPlane;
        patch: Patch;
        xPx: number;
        yPx: number;
        smearX: number;
        smearY: number;
        map: Float32Array;
      }
    | undefined;

  /** @throws Error if the surface image can't be read */
  constructor(readonly spec: SceneSpec) {
    this.#sensor = sensorMaps(spec);
    this.#surface = new SunSurface(spec);
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

  /** True values for a state of the optical train; as the scene starts if left out. */
  truth(train: TrainState = this.spec.startsWith): SceneTruth {
    return {
      widthPx: this.spec.camera.widthPx,
      heightPx: this.spec.camera.heightPx,
      flat: this.#patternFor(train).slice(),
      defects: this.#sensor.defects.slice(),
      dust: dustShadows(this.spec, train),
      arcsecPerPx: arcsecPerPx(this.spec),
    };
  }

  #forEachRow(light: LightPath, ask: ExposureAsk, use: (row: Float32Array, y: number) => void): void {
    const { region, seconds } = ask;
    const width = region.widthPx;
    const pattern = this.#patternFor(light);
    const dark = this.#sensor.darkElectronsPerSecond;
    const darkSeconds = seconds * darkFactor(this.spec.camera, ask.sensorCelsius);
    const { evenElectronsPerSecond, discElectronsPerSecond } = brightness(this.spec, light);
    const even = seconds * evenElectronsPerSecond;
    const disc = seconds * discElectronsPerSecond;
    const sun = disc > 0 ? this.#sunOn(light, region) : undefined;
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
    const { wheelSlot, rotatorDegrees, focusSteps } = train;
    const kept = this.#pattern?.train;
    if (
      kept?.wheelSlot !== wheelSlot ||
      kept.rotatorDegrees !== rotatorDegrees ||
      kept.focusSteps !== focusSteps
    ) {
      if (this.#smooth?.rotatorDegrees !== rotatorDegrees) {
        this.#smooth = { rotatorDegrees, map: smoothPattern(this.spec, rotatorDegrees) };
      }
      const map = wholePattern(this.spec, train, this.#smooth.map, this.#sensor.response);
      this.#pattern = { train: { wheelSlot, rotatorDegrees, focusSteps }, map };
    }
    return this.#pattern!.map;
  }

  /** The Sun's level over the region; `undefined` when none of it falls there. */
  #sunOn(light: LightPath, patch: Patch): Float32Array | undefined {
    const geometry = imageGeometry(this.spec, light);
    const at = sunCentrePx(this.spec, geometry, {
      eastArcsec: light.sunEastArcsec,
      northArcsec: light.sunNorthArcsec,
    });
    const smear = motionPx(geometry, {
      eastArcsec: light.smearEastArcsec,
      northArcsec: light.smearNorthArcsec,
    });
    const smearPx = Math.hypot(smear.xPx, smear.yPx);
    const reach = geometry.sunRadiusPx + 4.5 * geometry.sigmaPx + geometry.pupilPx + smearPx / 2 + 4;
    if (
      at.xPx + reach < patch.xPx ||
      at.yPx + reach < patch.yPx ||
      at.xPx - reach > patch.xPx + patch.widthPx ||
      at.yPx - reach > patch.yPx + patch.heightPx
    ) {
      return undefined;
    }
    const copies = smearPx < SMEAR_PX_MIN ? 1 : Math.min(64, Math.ceil(smearPx) + 1);
    const places = Array.from({ length: copies }, (_, k) => ({
      xPx: at.xPx + smear.xPx * ((k + 0.5) / copies - 0.5),
      yPx: at.yPx + smear.yPx * ((k + 0.5) / copies - 0.5),
    }));
    let plane = this.#plane;
    if (!plane || !sameToEye(plane.geometry, geometry))
      plane = new SunPlane(this.#surface, geometry, patch, at.xPx, at.yPx);
    const kept = this.#sun;
    if (
      kept &&
      kept.plane === plane &&
      samePatch(kept.patch, patch) &&
      Math.hypot(kept.xPx - at.xPx, kept.yPx - at.yPx) < SAME_PLACE_PX &&
      Math.hypot(kept.smearX - smear.xPx, kept.smearY - smear.yPx) < SAME_PLACE_PX
    ) {
      return kept.map;
    }
    const map =
      kept?.map.length === patch.widthPx * patch.heightPx
        ? kept.map.fill(0)
        : new Float32Array(patch.widthPx * patch.heightPx);
    for (const place of places) {
      if (!plane.covers(patch, place.xPx, place.yPx))
        plane = new SunPlane(this.#surface, geometry, patch, place.xPx, place.yPx);
      plane.addTo(map, patch, place.xPx, place.yPx, 1 / copies);
    }
    this.#plane = plane;
    this.#sun = { plane, patch: { ...patch }, ...at, smearX: smear.xPx, smearY: smear.yPx, map };
    return map;
  }
}

function samePatch(a: Patch, b: Patch): boolean {
  return a.xPx === b.xPx && a.yPx === b.yPx && a.widthPx === b.widthPx && a.heightPx === b.heightPx;
}
