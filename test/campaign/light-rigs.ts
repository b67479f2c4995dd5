import { join } from "node:path";
import { fitPlane } from "../../agent/imaging/numerics/plane-fit.ts";
import { largestError, type ScaleError } from "../../agent/imaging/proof/error-budget.ts";
import type { FlatBlur, FlatFound } from "../../agent/procedures/flat/flat-request.ts";
import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { Random } from "../../drivers/kit/random.ts";
import { drawScene } from "../../sim-devices/scene/spec/draw-scene.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { openStage } from "../stage/stage.ts";
import { printTable } from "./print-table.ts";

const shape = { widthPx: 320, heightPx: 256 };
const blurs = ["diffuser", "defocus", "drift"] as const;

export interface LightRigRow {
  readonly seed: number;
  readonly blur: FlatBlur;
  readonly discHeights: number;
  readonly flaws: number;
  /** Or `refused` with a code. */
  readonly verdict: string;
  /** Of the master, its plane taken out, by sides of blocks. */
  readonly trueError: readonly ScaleError[];
  /** By the flat's own budget, without the slope. */
  readonly predicted: readonly ScaleError[];
  readonly trueSlope: number;
  readonly predictedSlope: number;
  /** Largest of each part of the budget. */
  readonly parts: Readonly<Record<string, number>>;
  readonly worstBlock: number;
  readonly reasons: readonly string[];
}

/** Whole runs on drawn rigs with every flaw of light, air and sensor: what a flat says of itself against what is true. */
export async function run(options: {
  readonly seed: number;
  readonly rigs: number;
  readonly print?: (line: string) => void;
}): Promise<readonly LightRigRow[]> {
  const { seed, rigs, print } = options;
  const rows: LightRigRow[] = [];
  for (let k = 0; k < rigs; k++) {
    const row = await once(seed + k, blurs[k % 3]!);
    rows.push(row);
    print?.(rowText(row));
  }
  printTable(print, `Flats of ${rigs} drawn rigs, seeds from ${seed}`, tableOf(rows));
  return rows;
}

function tableOf(rows: readonly LightRigRow[]): (readonly [string, string | number, string])[] {
  const made = rows.filter(({ trueError }) => trueError.length > 0);
  const percent = (part: number, of: number) =>
    `${part} of ${of} (${((100 * part) / Math.max(1, of)).toFixed(1)} %)`;
  const sides = [...new Set(made.flatMap(({ predicted }) => predicted.map(({ sidePx }) => sidePx)))];
  const covered = sides.flatMap((sidePx) => {
    const ratios = made.flatMap(({ trueError, predicted }) => {
      const [is, says] = [trueError, predicted].map((all) => all.find((one) => one.sidePx === sidePx)?.rms);
      return is === undefined || !says ? [] : [is / says];
    });
    const within = (most: number) => percent(ratios.filter((ratio) => ratio <= most).length, ratios.length);
    return [
      [`blocks of ${sidePx} px within the predicted error`, within(1), "68 %"],
      [`blocks of ${sidePx} px within twice that`, within(2), "95 %"],
    ] as const;
  });
  const slopes = made.filter(({ predictedSlope }) => predictedSlope > 0);
  const wrong = made.filter(({ trueError }) => trueError.some(({ rms }) => rms > 0.004));
  const right = made.filter(({ trueError }) => trueError.every(({ rms }) => rms < 0.0015));
  const good = ({ verdict }: LightRigRow) => verdict === "good";
  return [
    ...covered,
    [
      "slope within twice the predicted",
      percent(slopes.filter((row) => row.trueSlope <= 2 * row.predictedSlope).length, slopes.length),
      "95 %",
    ],
    ["good with an error above 0.4 %", percent(wrong.filter(good).length, wrong.length), "≤ 1 %"],
    [
      "good with a block of 32 px wrong by more than 0.4 %",
      percent(made.filter((row) => good(row) && row.worstBlock > 0.004).length, made.filter(good).length),
      "",
    ],
    [
      "doubted with errors below 0.15 %",
      percent(right.filter((row) => !good(row)).length, right.length),
      "≤ 2 %",
    ],
    ["refused before a flat was made", rows.length - made.length, ""],
  ];
}

function rowText(row: LightRigRow): string {
  const at = (all: readonly ScaleError[], sidePx: number) =>
    (100 * (all.find((one) => one.sidePx === sidePx)?.rms ?? Number.NaN)).toFixed(3);
  const scales = [1, 8, 32, 64].map((sidePx) => `${at(row.trueError, sidePx)}/${at(row.predicted, sidePx)}`);
  const parts = Object.entries(row.parts).map(([cause, most]) => `${cause} ${(100 * most).toFixed(2)}`);
  return `  ${row.seed} ${row.blur.padEnd(8)} disc ${row.discHeights.toFixed(2)} flaws ${row.flaws.toFixed(2)} ${row.verdict.padEnd(7)} 1, 8, 32, 64 px: ${scales.join(" ")} % slope ${(100 * row.trueSlope).toFixed(2)}/${(100 * row.predictedSlope).toFixed(2)} % worst ${(100 * row.worstBlock).toFixed(2)} %  ${row.reasons.join("; ")} [${parts.join(", ")}]`;
}

/** A small frame, the disc whole or much larger than the frame; amounts of every flaw from a fifth of modest to five times. */
function sceneOf(seed: number, blur: FlatBlur): { spec: SceneSpec; flaws: number; discHeights: number } {
  const random = new Random(seed).fork("light rigs");
  const isCloseUp = blur === "drift" || random.uniform() < (blur === "defocus" ? 0.7 : 0.5);
  const discHeights = isCloseUp ? random.between(4, 6.2) : random.between(0.75, 0.85);
  const focalRatio = random.between(6, 8);
  const pixelMicron = 7;
  const discMm = (discHeights * shape.heightPx * pixelMicron) / 1000;
  const focalLengthMm = discMm / ((2 * 959.23 * Math.PI) / 648_000);
  const flaws = 10 ** random.between(-0.7, 0.7);
  const bestSteps = random.uniform() < 0.5 ? random.whole(2500, 5000) : random.whole(15_000, 17_500);
  const spec = drawScene(
    seed,
    {
      camera: { ...shape, pixelMicron, bits: 14, fullWellElectrons: 50_000, electronsPerCodeAtGain0: 3 },
      optics: { focalLengthMm, apertureMm: focalLengthMm / focalRatio, wavelengthNm: 656.28 },
      sun: { centreElectronsPerSecond: 3.6e6 },
      sky: { seeingArcsec: random.between(1, 3), cloud: { lossMax: random.between(0, 0.02) } },
      mount: { pointingErrorDegrees: { east: random.between(-0.3, 0.3), north: random.between(-0.3, 0.3) } },
      focuser: { bestSteps, micronPerStep: random.between(1.2, 2.5) },
      rig: { dust: dustOf(random, focalRatio) },
      startsWith: { focusSteps: bestSteps, diffuserInPlace: false },
    },
    flaws,
  );
  return { spec, flaws, discHeights };
}

/** Near the sensor, so that it is the same in focus and out of it. */
function dustOf(random: Random, focalRatio: number): SceneSpec["rig"]["dust"] {
  return Array.from({ length: 6 }, () => {
    const distanceMm = random.between(0.8, 2.5);
    const depth = random.between(0.015, 0.1);
    return {
      xPx: random.between(20, shape.widthPx - 20),
      yPx: random.between(20, shape.heightPx - 20),
      distanceMm,
      speckMicron: (1000 * distanceMm * Math.sqrt(depth)) / focalRatio,
      on: "camera" as const,
    };
  });
}

const planOf = (blur: FlatBlur) => `plan: light
sun: { altitudeDegreesMin: 15 }
steps:
  - centre
${blur === "diffuser" ? "  - leak-check\n" : ""}  - flat: { blur: ${blur}, frames: 60 }
`;

async function once(seed: number, blur: FlatBlur): Promise<LightRigRow> {
  const { spec, flaws, discHeights } = sceneOf(seed, blur);
  const drawn = { seed, blur, discHeights, flaws };
  await using stage = await openStage({ scene: spec, plan: planOf(blur) });
  const played = await stage.play();
  const found = played.record?.steps.find(({ kind }) => kind === "flat")?.found as FlatFound | undefined;
  if (!found) {
    const { code = played.ended } = played.record?.failure ?? {};
    const none = { trueError: [], predicted: [], trueSlope: 0, predictedSlope: 0, worstBlock: 0, parts: {} };
    return { ...drawn, verdict: "refused", ...none, reasons: [code] };
  }
  const master = readCcdImage(join(played.folder, found.files.flat));
  const inFlat = played.frames.filter(({ ask }) => ask.frameType === "flat");
  const { rotatorDegrees, wheelSlot, filterWarmerCelsius } = (
    inFlat[inFlat.length >> 1] ?? played.frames.at(-1)!
  ).light;
  // Of the images that the flat is for: in focus, however it was taken.
  const { flat } = stage.simulator.painter.truth({
    rotatorDegrees,
    wheelSlot,
    filterWarmerCelsius,
    focusSteps: spec.focuser.bestSteps,
  });
  const { budget } = found.proof;
  const of = (cause: string) => budget.parts.find((part) => part.cause === cause)?.scales ?? [];
  const slope = of("slope");
  return {
    ...drawn,
    verdict: found.verdict,
    ...trueErrorOf(
      master.data,
      master.mask!,
      flat,
      budget.sum.map(({ sidePx }) => sidePx),
    ),
    predicted: budget.sum.map(({ sidePx, rms }) => {
      const apart = slope.find((one) => one.sidePx === sidePx)?.rms ?? 0;
      return { sidePx, rms: Math.sqrt(Math.max(0, rms * rms - apart * apart)) };
    }),
    // A bent response leans where the rig's own pattern does.
    predictedSlope: Math.hypot(slope[0]?.rms ?? 0, of("linearity")[0]?.rms ?? 0),
    parts: Object.fromEntries(budget.parts.map(({ cause, scales }) => [cause, largestError(scales) ?? 0])),
    reasons: [
      ...found.proof.figures
        .filter(({ verdict }) => verdict !== "good")
        .map(({ id, value }) => `${id} ${value.toPrecision(2)}`),
      ...budget.parts.filter(({ state }) => state === "not looked at").map(({ cause }) => `${cause}?`),
    ],
  };
}

/** Master over truth, less level and plane, over the pixels that the mask trusts. */
function trueErrorOf(master: Float32Array, mask: Uint8Array, truth: Float32Array, sides: readonly number[]) {
  const { widthPx, heightPx } = shape;
  const trusted = [...master.keys()].filter((i) => mask[i] === 0);
  const logs = master.map((level, i) => Math.log(level / truth[i]!));
  const at = (i: number) => ({
    x: (i % widthPx) / widthPx - 0.5,
    y: Math.floor(i / widthPx) / heightPx - 0.5,
  });
  const points = trusted.map((i) => ({ ...at(i), value: logs[i]! }));
  const { mean: level, slopeX, slopeY } = fitPlane(points, 1)!;
  const planeAt = (i: number) => level + slopeX * at(i).x + slopeY * at(i).y;
  const error = logs.map((value, i) => value - planeAt(i));
  const slopes = trusted.map(planeAt);
  const mean = slopes.reduce((sum, one) => sum + one, 0) / slopes.length;
  const scales = sides.map((sidePx) => ({ sidePx, means: blockMeans(error, mask, sidePx) }));
  return {
    trueError: scales.map(({ sidePx, means }) => ({ sidePx, rms: rmsOf(means) })),
    worstBlock: Math.max(...(scales.find(({ sidePx }) => sidePx === 32)?.means.map(Math.abs) ?? [0])),
    trueSlope: rmsOf(slopes.map((one) => one - mean)),
  };
}

function blockMeans(error: Float32Array, mask: Uint8Array, sidePx: number): number[] {
  const columns = Math.ceil(shape.widthPx / sidePx);
  const blocks = new Map<number, { sum: number; count: number }>();
  error.forEach((value, i) => {
    if (mask[i] !== 0) return;
    const [x, y] = [i % shape.widthPx, Math.floor(i / shape.widthPx)];
    const at = Math.floor(y / sidePx) * columns + Math.floor(x / sidePx);
    const block = blocks.get(at) ?? { sum: 0, count: 0 };
    block.sum += value;
    block.count++;
    blocks.set(at, block);
  });
  return [...blocks.values()]
    .filter(({ count }) => 2 * count >= sidePx ** 2)
    .map(({ sum, count }) => sum / count);
}

function rmsOf(values: readonly number[]): number {
  return Math.sqrt(values.reduce((sum, value) => sum + value * value, 0) / values.length);
}
