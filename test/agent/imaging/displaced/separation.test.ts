import { expect, test } from "vitest";
import { measureReach } from "../../../../agent/imaging/displaced/shift-reach.ts";
import {
  type DisplacedSolution,
  solveDisplaced,
} from "../../../../agent/imaging/displaced/solve-displaced.ts";
import { makeSweepKernels } from "../../../../agent/imaging/displaced/sweep-kernels.ts";
import { measureUnseparated } from "../../../../agent/imaging/displaced/unseparated-structure.ts";
import { UnsolvableSeriesError } from "../../../../agent/imaging/displaced/unsolvable-series.ts";
import { loadFft } from "../../../../agent/imaging/numerics/fft-library.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { driftingFrames } from "../../../bench/displaced-frames.ts";
import { patterns } from "../../../campaign/displaced-scene/patterns.ts";

const fft = await loadFft();
const shape = { widthPx: 192, heightPx: 128 };
const seed = 20261130;

interface Place {
  readonly x: number;
  readonly y: number;
}

function solve(shifts: readonly Place[], otherSunFrom?: number): DisplacedSolution {
  const changed = otherSunFrom === undefined ? {} : { otherSunFrom };
  const { frames } = driftingFrames({ ...shape, shifts, seed, ...changed });
  const work = solveDisplaced(
    {
      shape,
      frameCount: frames.length,
      readLevels: (frameIndex, into) => into.set(frames[frameIndex]!),
    },
    { fft, makeKernels: makeSweepKernels },
  );
  let step = work.next();
  while (!step.done) step = work.next();
  return step.value;
}

function trouble(shifts: readonly Place[]): UnsolvableSeriesError {
  try {
    solve(shifts);
  } catch (error) {
    if (error instanceof UnsolvableSeriesError) return error;
    throw error;
  }
  throw new Error(`solved, seed ${seed}`);
}

const jitter = (sigmaPx: number) => {
  const random = new Random(seed);
  return () => sigmaPx * random.gauss();
};

test("a Sun that stood still makes no flat: nothing that moves, or too little, is said with how to move", () => {
  const near = jitter(0.03);
  expect(trouble(Array.from({ length: 16 }, () => ({ x: near(), y: near() }))).message).toContain(
    "Nothing moves in the frames",
  );
  const small = jitter(0.7);
  const error = trouble(Array.from({ length: 16 }, () => ({ x: small(), y: small() })));
  expect(`${error.message}. ${error.whatToDo}`).toMatch(/Sun moved .*px \(rms\).*wanders by 26 px or more/);
});

test.each([
  ["to left and right only", 1, 0, "up and down"],
  ["up and down only", 0, 1, "to left and right"],
  ["from upper left to lower right only", 0.7, 0.7, "from lower left to upper right"],
])("a Sun that moved %s: refused with the direction that lacks", (_, alongX, alongY, lacking) => {
  const near = jitter(0.3);
  const shifts = Array.from({ length: 16 }, (__, k) => ({
    x: alongX * (4 * k - 30) + near(),
    y: alongY * (4 * k - 30) + near(),
  }));
  const { message, whatToDo } = trouble(shifts);
  expect(message).toContain(`along one line only`);
  expect(message).toContain(lacking);
  expect(whatToDo).toContain(`above all ${lacking}`);
});

test("a Sun that stays as it is has not changed; one half replaced in mid-series has, and it is told", () => {
  const shifts = patterns.spiral(20, 28);
  const still = solve(shifts).separation;
  expect(still.sunChange, `seed ${seed}`).toBeLessThan(0.2);
  expect(still.unseparated, `seed ${seed}`).toBeLessThan(0.001);
  expect(solve(shifts, 10).separation.sunChange, `seed ${seed}`).toBeGreaterThan(0.5);
});

test("structure that shifts don't tell apart is counted from its power at other directions", () => {
  // Waves of 24 px in every direction, 2 % rms; shifts along x see nothing of those that go along y.
  const grid = { widthPx: 200, heightPx: 200, originX: 20, originY: 20 };
  const random = new Random(seed);
  const waves = Array.from({ length: 90 }, (_, k) => ({
    angle: (k * Math.PI) / 90,
    phase: 2 * Math.PI * random.uniform(),
  }));
  const object = Float32Array.from({ length: 200 * 200 }, (_, i) => {
    const [x, y] = [i % 200, Math.floor(i / 200)];
    let sum = 0;
    for (const { angle, phase } of waves)
      sum += Math.cos((2 * Math.PI * (x * Math.cos(angle) + y * Math.sin(angle))) / 24 + phase);
    return (0.02 * sum) / Math.sqrt(waves.length / 2);
  });
  const of = (shifts: readonly Place[], shiftSigmaPx: number) =>
    measureUnseparated(fft, {
      ...{ object, grid, shifts, shiftSigmaPx, ridge: 0.02 },
      shape: { widthPx: 160, heightPx: 160 },
    });
  const round = patterns.spiral(24, 16);
  const line = round.map(({ x }, k) => ({ x: x + (k % 5), y: 0 }));
  expect(of(round, 0)).toBeLessThan(1e-4);
  // Within how many degrees of the columns waves look the same in all frames: a few of a hundred and eighty.
  expect(of(line, 0), `seed ${seed}`).toBeGreaterThan(0.002);
  expect(of(line, 0)).toBeLessThan(0.02);
  expect(of(round, 0.1)).toBeGreaterThan(3 * of(round, 0.01));
});

test("reach is told along its own axes, whatever way they lie", () => {
  const turned = (degrees: number) =>
    measureReach(
      [-3, -1, 1, 3].flatMap((along) =>
        [-1, 1].map((across) => {
          const [c, s] = [Math.cos((degrees * Math.PI) / 180), Math.sin((degrees * Math.PI) / 180)];
          return { x: along * c - across * s, y: along * s + across * c };
        }),
      ),
    );
  for (const degrees of [0, 30, 90]) {
    const { leastPx, mostPx, leastDegrees } = turned(degrees);
    expect(leastPx).toBeCloseTo(1, 9);
    expect(mostPx).toBeCloseTo(Math.sqrt(5), 9);
    expect(Math.sin(((leastDegrees - degrees - 90) * Math.PI) / 180)).toBeCloseTo(0, 9);
  }
});
