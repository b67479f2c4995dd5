import { sheetLight } from "./optics/diffuser-sheet.ts";
import type { TrainState } from "./optics/dust-shadow.ts";
import { addGhostRow, ghostSpots } from "./optics/ghost-light.ts";
import { leakElectronsPerSecond, leakShape } from "./optics/light-leak.ts";
import { smoothPattern, wholePattern } from "./optics/rig-pattern.ts";
import { sightThroughGap } from "./optics/rim-gap.ts";
import type { ExposureAsk, LightPath, Region } from "./painter-contract.ts";
import { addMapRow, addSunRow, evenRow, sunRow, tiltRow } from "./sensor/expose-row.ts";
import type { SensorMaps } from "./sensor/sensor-maps.ts";
import type { SceneSpec } from "./spec/scene-spec.ts";
import { brightness } from "./sun/brightness.ts";
import { SunPicture } from "./sun/sun-picture.ts";

/** What falls on the sensor, and its dark current: expected electrons, row by row. Everything drawn once is kept. */
export class SensorLight {
  readonly #sun: SunPicture;
  readonly #sunThroughGap: SunPicture | undefined;
  readonly #leak: Float32Array | undefined;
  #smooth: (Pick<TrainState, "rotatorDegrees" | "slip"> & { map: Float32Array }) | undefined;
  #pattern: { train: TrainState; map: Float32Array } | undefined;
  #throughSheet: { pattern: Float32Array; map: Float32Array } | undefined;

  /** @throws Error if the surface image can't be read */
  constructor(
    readonly spec: SceneSpec,
    readonly sensor: SensorMaps,
  ) {
    this.#sun = new SunPicture(spec);
    const { diffuser, leak } = spec.rig;
    if (diffuser.rimGap) {
      this.#sunThroughGap = new SunPicture(spec, this.#sun.surface, (light) => sightThroughGap(spec, light));
    }
    this.#leak = leak && leakShape(spec, leak);
  }

  /** Where the leaking light falls. */
  get leak(): Float32Array | undefined {
    return this.#leak;
  }

  /**
   * @param darkSeconds of dark current at the reference temperature
   * @throws RangeError for a region that is not on the sensor
   */
  forEachRow(
    light: LightPath,
    ask: Pick<ExposureAsk, "region" | "binning" | "seconds">,
    darkSeconds: number,
    use: (row: Float32Array, y: number) => void,
  ): void {
    const { region, seconds } = ask;
    checkRegion(this.spec, region, ask.binning);
    const width = region.widthPx;
    const pattern = this.patternFor(light);
    const evenPattern = light.diffuserInPlace ? this.#patternThroughSheet(pattern, light) : pattern;
    const { response, darkElectronsPerSecond: dark } = this.sensor;
    const { evenElectronsPerSecond, discElectronsPerSecond, gapElectronsPerSecond } = brightness(
      this.spec,
      light,
    );
    const even = seconds * evenElectronsPerSecond;
    const disc = seconds * discElectronsPerSecond;
    const sun = disc > 0 ? this.#sun.over(light, region) : undefined;
    const beside = seconds * gapElectronsPerSecond;
    const sunBeside = beside > 0 ? this.#sunThroughGap?.over(light, region) : undefined;
    const { leak } = this.spec.rig;
    const leaking = leak ? seconds * leakElectronsPerSecond(this.spec, leak, light) : 0;
    const ghosts = ghostSpots(this.spec, light);
    const reflected = light.diffuserInPlace ? even : disc;
    const glow = this.sensor.growingGlowElectronsPerSecond;
    const grown = glow ? (darkSeconds * seconds) / this.spec.camera.dark.glowDoublingSeconds! / 2 : 0;
    // The sheet mixes the light of all directions; haze in front of it only dims it.
    const haze = light.diffuserInPlace ? undefined : light.hazeGradient;
    const { widthPx, heightPx } = this.spec.camera;
    const row = new Float32Array(width);
    for (let y = 0; y < region.heightPx; y++) {
      const start = (region.yPx + y) * this.spec.camera.widthPx + region.xPx;
      if (haze && sun) {
        sunRow(row, width, pattern, start, even, disc, sun, y * width, dark, 0);
        const down = haze.acrossY * ((region.yPx + y + 0.5) / heightPx - 0.5);
        const left = haze.acrossX * ((region.xPx + 0.5) / widthPx - 0.5);
        tiltRow(row, width, 1 + down + left, haze.acrossX / widthPx);
        addMapRow(row, width, dark, start, darkSeconds);
      } else if (sun && evenPattern === pattern) {
        sunRow(row, width, pattern, start, even, disc, sun, y * width, dark, darkSeconds);
      } else {
        evenRow(row, width, evenPattern, start, even, dark, darkSeconds);
        if (sun) addSunRow(row, width, pattern, start, disc, sun, y * width);
      }
      if (sunBeside) addSunRow(row, width, pattern, start, beside, sunBeside, y * width);
      if (leaking > 0) addMapRow(row, width, this.#leak!, start, leaking);
      if (glow) addMapRow(row, width, glow, start, grown);
      for (const spot of ghosts) {
        addGhostRow(row, width, response, start, spot, region.xPx, region.yPx + y, reflected);
      }
      use(row, y);
    }
  }

  /** The multiplicative pattern of this train; not to be written to. */
  patternFor(train: TrainState): Float32Array {
    const { wheelSlot, rotatorDegrees, focusSteps, slip, filterWarmerCelsius } = train;
    const kept = this.#pattern?.train;
    if (
      kept?.wheelSlot !== wheelSlot ||
      kept.rotatorDegrees !== rotatorDegrees ||
      kept.focusSteps !== focusSteps ||
      kept.slip !== slip ||
      kept.filterWarmerCelsius !== filterWarmerCelsius
    ) {
      const smooth = this.#smooth;
      if (smooth?.rotatorDegrees !== rotatorDegrees || smooth.slip !== slip)
        this.#smooth = { rotatorDegrees, slip, map: smoothPattern(this.spec, rotatorDegrees, slip) };
      const map = wholePattern(this.spec, train, this.#smooth!.map, this.sensor.response);
      this.#pattern = { train: { wheelSlot, rotatorDegrees, focusSteps, slip, filterWarmerCelsius }, map };
    }
    return this.#pattern!.map;
  }

  #patternThroughSheet(pattern: Float32Array, { rotatorDegrees }: LightPath): Float32Array {
    if (this.#throughSheet?.pattern !== pattern) {
      const sheet = sheetLight(this.spec, rotatorDegrees);
      const map = sheet ? pattern.map((level, i) => level * sheet[i]!) : pattern;
      this.#throughSheet = { pattern, map };
    }
    return this.#throughSheet.map;
  }
}

function checkRegion({ camera }: SceneSpec, region: Region, binning: number): void {
  const { xPx, yPx, widthPx, heightPx } = region;
  const whole = [xPx, yPx, widthPx, heightPx, binning].every(Number.isInteger);
  if (!whole || xPx < 0 || yPx < 0 || xPx + widthPx > camera.widthPx || yPx + heightPx > camera.heightPx) {
    throw new RangeError(
      `Region ${widthPx} x ${heightPx} at (${xPx}, ${yPx}) px is not on the sensor of ${camera.widthPx} x ${camera.heightPx} px`,
    );
  }
}
