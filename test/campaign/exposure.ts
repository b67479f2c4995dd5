import { type LevelReading, readLevel } from "../../agent/imaging/exposure/frame-level.ts";
import { adviseExposure, type TuneAdvice, type TuneSetting } from "../../agent/imaging/exposure/tune.ts";
import { Random } from "../../drivers/kit/random.ts";
import { ScenePainter } from "../../sim-devices/scene/painter.ts";
import type { ExposureAsk, LightPath } from "../../sim-devices/scene/painter-contract.ts";
import { drawScene } from "../../sim-devices/scene/spec/draw-scene.ts";
import { printTable } from "./print-table.ts";

export interface ExposureCampaign {
  readonly starts: number;
  readonly framesMedian: number;
  readonly framesWorst: number;
  readonly framesMedianWithHistory: number;
  readonly framesWorstWithHistory: number;
  readonly edgeLeast: number;
  readonly edgeMost: number;
  readonly healthyClippedPx: number;
  readonly notDone: number;
}

const shape = { widthPx: 192, heightPx: 128 };
/** Decades between the shortest exposure and the right one. */
const decades = 6;
/** The light differs from history by this much, one sigma: haze from day to day. */
const historySigma = 0.03;

/**
 * Tunes the exposure on so many random rigs whose light spans six decades: the right exposure lies anywhere between the
 * shortest and a million times that. Each is tuned anew and then once more with what the first time taught it.
 */
export function run(options: {
  seed: number;
  starts: number;
  print?: (line: string) => void;
}): ExposureCampaign {
  const random = new Random(options.seed);
  const frames: number[] = [];
  const framesWithHistory: number[] = [];
  const edges: number[] = [];
  let healthyClippedPx = 0;
  let notDone = 0;
  for (let k = 0; k < options.starts; k++) {
    const rig = new TestRig(random.whole(1, 2 ** 31), decades * ((k + random.uniform()) / options.starts));
    const first = rig.tune({});
    const again =
      first.advice.kind === "done"
        ? rig.tune({
            history: {
              edgeAduPerSecond: first.advice.edgeAduPerSecond * (1 + historySigma * random.gauss()),
              pedestalAdu: first.advice.pedestalAdu,
              topAdu: first.advice.topAdu,
            },
          })
        : undefined;
    for (const [tuned, counts] of [
      [first, frames],
      [again, framesWithHistory],
    ] as const) {
      if (tuned?.advice.kind !== "done") {
        notDone++;
        options.print?.(`not done: scene ${rig.seed}, ${JSON.stringify(tuned?.advice)}`);
        continue;
      }
      counts.push(tuned.readings.length);
      edges.push(tuned.advice.edgeFraction);
      healthyClippedPx += tuned.clippedPx;
    }
  }
  const result = {
    starts: options.starts,
    framesMedian: medianOf(frames),
    framesWorst: Math.max(...frames),
    framesMedianWithHistory: medianOf(framesWithHistory),
    framesWorstWithHistory: Math.max(...framesWithHistory),
    edgeLeast: Math.min(...edges),
    edgeMost: Math.max(...edges),
    healthyClippedPx,
    notDone,
  };
  printTable(
    options.print,
    `Exposure: ${options.starts} starts over ${decades} decades, seed ${options.seed}`,
    [
      ["test frames, median", result.framesMedian, "≤ 4"],
      ["test frames, worst", result.framesWorst, "≤ 9"],
      [`with history (± ${100 * historySigma} %), median`, result.framesMedianWithHistory, "≤ 2"],
      ["with history, worst", result.framesWorstWithHistory, ""],
      ["upper edge, least", `${(100 * result.edgeLeast).toFixed(2)} %`, "≥ 84 %"],
      ["upper edge, most", `${(100 * result.edgeMost).toFixed(2)} %`, "≤ 86 %"],
      ["healthy pixels clipped in the last frames", healthyClippedPx, "0"],
      ["tunings without an exposure", notDone, "0"],
    ],
  );
  return result;
}

/** A painted rig with the diffuser in the light; the right exposure is about `10^decade` times the shortest. */
class TestRig {
  readonly #painter: ScenePainter;
  readonly #light: LightPath;
  #frameNumber = 0;

  constructor(
    readonly seed: number,
    decade: number,
  ) {
    const drawn = drawScene(seed, {
      camera: { ...shape, exposureSecondsMin: 32e-6, exposureSecondsMax: 120 },
    });
    const wanted = 45e-6 * 10 ** decade; // an uneven field's brightest spot is up to a third above its mean
    const fullWell = Math.min(
      drawn.camera.fullWellElectrons,
      drawn.camera.electronsPerCodeAtGain0 * 2 ** drawn.camera.bits,
    );
    const spec = drawScene(seed, {
      camera: { ...shape, exposureSecondsMin: 32e-6, exposureSecondsMax: 120 },
      sun: { centreElectronsPerSecond: fullWell / wanted / drawn.rig.diffuser.transmission },
    });
    this.#painter = new ScenePainter(spec);
    this.#light = {
      sunEastArcsec: 0,
      sunNorthArcsec: 0,
      smearEastArcsec: 0,
      smearNorthArcsec: 0,
      sunAltitudeDegrees: 50,
      sunSemidiameterArcsec: 950,
      sunPoleDegrees: 0,
      coverOpenFraction: 1,
      diffuserInPlace: true,
      focusSteps: spec.focuser.bestSteps,
      wheelSlot: 1,
      rotatorDegrees: spec.startsWith.rotatorDegrees,
      transparency: 1,
    };
  }

  tune(known: Pick<TuneSetting, "history">): {
    advice: TuneAdvice;
    readings: LevelReading[];
    clippedPx: number;
  } {
    const readings: LevelReading[] = [];
    const setting: TuneSetting = { exposureSeconds: { min: 32e-6, max: 120 }, ...known };
    let frame: Uint16Array = new Uint16Array();
    for (;;) {
      const advice = adviseExposure(setting, readings);
      if (advice.kind !== "expose")
        return { advice, readings, clippedPx: this.#healthyAtTop(frame, readings) };
      frame = this.#expose(advice.exposureSeconds);
      const camera = { pedestalAdu: known.history?.pedestalAdu ?? 0, topAdu: 65535 };
      readings.push(readLevel(frame, shape, advice.exposureSeconds, camera));
    }
  }

  #expose(seconds: number): Uint16Array {
    const ask: ExposureAsk = {
      seconds,
      frameType: "flat",
      gain: 0,
      offset: 50,
      binning: 1,
      region: { xPx: 0, yPx: 0, ...shape },
      sensorCelsius: 0,
      frameNumber: this.#frameNumber++,
    };
    return this.#painter.paint(this.#light, ask);
  }

  #healthyAtTop(frame: Uint16Array, readings: readonly LevelReading[]): number {
    const { defects } = this.#painter.truth();
    const topAdu = readings.at(-1)?.topAdu ?? 65535;
    return frame.reduce((sum, value, i) => sum + (value >= topAdu && defects[i] === 0 ? 1 : 0), 0);
  }
}

function medianOf(values: readonly number[]): number {
  return values.toSorted((a, b) => a - b)[values.length >> 1] ?? Number.NaN;
}
