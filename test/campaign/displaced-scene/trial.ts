import { solveDisplaced } from "../../../agent/imaging/displaced/solve-displaced.ts";
import { makeSweepKernels } from "../../../agent/imaging/displaced/sweep-kernels.ts";
import { type FftLibrary, loadFft } from "../../../agent/imaging/numerics/fft-library.ts";
import { Threads } from "../../../agent/threads/threads.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { type DisplacedScene, paintScene, type ScenePlan } from "./displaced-scene.ts";
import { gainError } from "./gain-error.ts";
import { discBrightness } from "./limb.ts";

export interface TrialPlan extends ScenePlan {
  /** How far from the truth the disc's centre is given [px]; without it no disc is given. */
  readonly discOffPx?: number;
  /** Shifts as the limb tells them, that far off (one sigma); otherwise they are found blind. */
  readonly limbShiftsOffPx?: number;
}

/** Fractions of the gain, rms over the frame, mean removed. */
export interface Trial {
  readonly average: number;
  readonly solved: number;
  readonly floor: number;
  /** Plane left in the solution: change over the frame. */
  readonly plane: number;
  /** What the solution's own sigmas predict. */
  readonly expected: number;
  readonly anchorsApartSigmas: number | undefined;
  /** Median error of the shifts [px]. */
  readonly shiftErrorPx: number;
  readonly dropped: readonly number[];
  readonly scene: DisplacedScene;
}

let fft: FftLibrary | undefined;

/** Paints a scene, solves it and holds the result against the truth. */
export async function trial(plan: TrialPlan): Promise<Trial> {
  fft ??= await loadFft();
  const scene = paintScene(plan);
  const { side, frames, shifts, disc } = scene;
  const random = new Random(plan.seed).fork("limb");
  const discOff = plan.discOffPx ?? 5;
  const work = solveDisplaced(
    {
      shape: { widthPx: side, heightPx: side },
      frameCount: frames.length,
      readLevels: (frameIndex, into) => into.set(frames[frameIndex]!),
      disc: {
        frameIndex: 0,
        x: disc.x + shifts[0]!.x + discOff * 0.8,
        y: disc.y + shifts[0]!.y + discOff * 0.6,
        radiusPx: disc.radiusPx,
      },
      ...(plan.limbShiftsOffPx === undefined
        ? {}
        : {
            expectedShifts: shifts.map(({ x, y }) => ({
              x: x + plan.limbShiftsOffPx! * random.gauss(),
              y: y + plan.limbShiftsOffPx! * random.gauss(),
            })),
          }),
    },
    { fft, makeKernels: makeSweepKernels, startThread: new Threads(() => {}).startDisplaced },
  );
  let step = work.next();
  while (!step.done) step = work.next();
  const { flat, anchor, frames: found } = step.value;
  const solvedLog = Float64Array.from(flat.gain, (gain, i) =>
    flat.mask[i] === 0 ? Math.log(gain) : Number.NaN,
  );
  const solved = gainError(solvedLog, scene);
  const average = gainError(averageLog(scene, solvedLog), scene);
  const used = found.flatMap((frame, k) => (frame.dropped ? [] : [k]));
  let variance = 0;
  flat.sigma.forEach((sigma, i) => {
    if (flat.mask[i] === 0) variance += (sigma / flat.gain[i]!) ** 2 / solved.comparedPx;
  });
  return {
    average: average.rms,
    solved: solved.rms,
    floor: solved.floor,
    plane: solved.plane,
    expected: Math.sqrt(variance),
    anchorsApartSigmas: anchor?.disagreementSigmas,
    shiftErrorPx: shiftError(
      used.map((k) => ({ x: found[k]!.shift.x - shifts[k]!.x, y: found[k]!.shift.y - shifts[k]!.y })),
    ),
    dropped: found.flatMap((frame, k) => (frame.dropped ? [k] : [])),
    scene,
  };
}

/** Mean of the frames over their own means, each without its limb darkening, of what lies on the usable disc. */
function averageLog(scene: DisplacedScene, like: Float64Array): Float64Array {
  const { side, disc, shifts } = scene;
  const sum = new Float64Array(like.length);
  const seen = new Float64Array(like.length);
  const flattened = new Float64Array(like.length);
  for (const [k, frame] of scene.frames.entries()) {
    const shift = shifts[k]!;
    let total = 0;
    let count = 0;
    for (let y = 0, i = 0; y < side; y++) {
      const down = y - disc.y - shift.y;
      for (let x = 0; x < side; x++, i++) {
        const right = x - disc.x - shift.x;
        const distance = Math.sqrt(right * right + down * down);
        flattened[i] = Number.NaN;
        if (distance > 0.93 * disc.radiusPx) continue;
        const level = frame[i]! / discBrightness(distance, disc.radiusPx);
        flattened[i] = level;
        total += level;
        count++;
      }
    }
    for (let i = 0; i < frame.length; i++) {
      const level = flattened[i]!;
      if (Number.isNaN(level)) continue;
      sum[i]! += (level * count) / total;
      seen[i]!++;
    }
  }
  return sum.map((value, i) => (Number.isNaN(like[i]!) ? Number.NaN : Math.log(value / seen[i]!)));
}

/** All may be off by the same: that is the first frame's error. */
function shiftError(errors: readonly { readonly x: number; readonly y: number }[]): number {
  const middle = (axis: "x" | "y") =>
    errors.map((error) => error[axis]).sort((a, b) => a - b)[errors.length >> 1]!;
  const [x, y] = [middle("x"), middle("y")];
  return errors.map((error) => Math.hypot(error.x - x, error.y - y)).sort((a, b) => a - b)[
    errors.length >> 1
  ]!;
}
