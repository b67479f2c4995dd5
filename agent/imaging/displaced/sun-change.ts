import { addSecondFloats, sharedDoubles } from "./part-sums.ts";
import { type PartSums, partCount, type SolutionArrays } from "./passes.ts";
import { type Problem, viewsOf } from "./problem.ts";

/** Fewer frames' worth in a half tell nothing of a pixel. */
const leastWeight = 2;

/**
 * How much the Sun's picture changed from the first half of the series to the second, over the noise of a frame: rms of
 * half the difference. What even and odd frames differ by (noise, seeing, interpolation) is taken off.
 * @param work.gain as long as the gain, `work.objects` as the object: scratch
 */
export function* measureSunChange(
  problem: Problem,
  { levels, gain }: SolutionArrays,
  work: { readonly gain: Float32Array; readonly objects: PartSums<Float32Array> },
): Generator<void, number> {
  const { frames } = problem;
  const quarters: { readonly sum: Float32Array; readonly weight: Float32Array }[] = [];
  for (const quarter of [0, 1, 2, 3]) {
    const own = frames.filter((_, k) => (k < frames.length / 2 ? 0 : 2) + (k % 2) === quarter);
    const views = viewsOf({ ...problem, frames: own });
    yield* problem.work.run("sumObject", { views, levels, gain, objects: work.objects }, partCount);
    addSecondFloats(work.objects);
    const sum = work.objects[0].slice();
    const frameSums = sharedDoubles(problem.shifts.length);
    const into = { gain: work.gain, objects: work.objects, frames: frameSums };
    yield* problem.work.run("addWeights", { views, ...into }, partCount);
    addSecondFloats(work.objects);
    quarters.push({ sum, weight: work.objects[0].slice() });
  }
  return compareQuarters(quarters);
}

function compareQuarters(
  quarters: readonly { readonly sum: Float32Array; readonly weight: Float32Array }[],
): number {
  const [q0, q1, q2, q3] = quarters as unknown as [Quarter, Quarter, Quarter, Quarter];
  const halves = [new HalfDifference(), new HalfDifference()] as const;
  for (let i = 0; i < q0.sum.length; i++) {
    const weights = [q0.weight[i]! + q1.weight[i]!, q2.weight[i]! + q3.weight[i]!] as const;
    const others = [q0.weight[i]! + q2.weight[i]!, q1.weight[i]! + q3.weight[i]!] as const;
    if (Math.min(...weights, ...others) < leastWeight) continue;
    const all = [q0.sum[i]!, q1.sum[i]!, q2.sum[i]!, q3.sum[i]!] as const;
    halves[0].add((all[0] + all[1]) / weights[0] - (all[2] + all[3]) / weights[1], weights);
    halves[1].add((all[0] + all[2]) / others[0] - (all[1] + all[3]) / others[1], others);
  }
  const [time, evenOdd] = halves;
  const noise = evenOdd.variance / evenOdd.expected;
  if (!(noise > 0)) return 0;
  return Math.sqrt(Math.max(0, time.variance - noise * time.expected)) / 2 / Math.sqrt(noise);
}

type Quarter = { readonly sum: Float32Array; readonly weight: Float32Array };

/** Mean square of what two halves differ by, and what noise of one a frame would give it. */
class HalfDifference {
  #count = 0;
  #sum = 0;
  #squares = 0;
  #expected = 0;

  add(difference: number, [one, other]: readonly [number, number]): void {
    this.#count++;
    this.#sum += difference;
    this.#squares += difference * difference;
    this.#expected += 1 / one + 1 / other;
  }

  get variance(): number {
    const mean = this.#sum / this.#count;
    return this.#squares / this.#count - mean * mean;
  }

  get expected(): number {
    return this.#expected / this.#count;
  }
}
