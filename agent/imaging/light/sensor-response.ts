import { Cholesky } from "../numerics/cholesky.ts";

/** One frame of a ladder: light that is as good as steady, exposures of different length. */
export interface LadderStep {
  readonly exposureSeconds: number;
  /** When it was taken [s], from any moment. */
  readonly seconds: number;
  /** Mean levels of blocks above the dark over full scale; NaN where a block is not to be used. */
  readonly levels: ArrayLike<number>;
}

/** n(y) = ln(measured / true) = a y + b y² + c y³, y the measured level over full scale. A constant and a power of y are nothing. */
export interface SensorResponse {
  readonly coefficients: readonly [a: number, b: number, c: number];
  /** Covariance of the three, row-major. */
  readonly covariance: readonly number[];
  /** Levels that the ladder reached, over full scale. */
  readonly least: number;
  readonly most: number;
  /** Change of the light from first to last frame, as it was found; and what single frames scatter beyond it. */
  readonly drift: number;
  readonly levelScatter: number;
}

const terms = 3;
const levelAtFirst = 0.003;
const levelLeast = 1e-5;
/** A level this low tells of the dark rather than of the light. */
const levelUsable = 0.02;

/**
 * The sensor's curve from a ladder of exposures: ln level - ln seconds = ln gain + n(level) + drift + level error of the frame.
 * The gain of every block is taken out; the frames' own level errors have a prior that their scatter tells.
 * @returns `undefined` with fewer than six frames or no spread of levels
 */
export function measureResponse(ladder: readonly LadderStep[]): SensorResponse | undefined {
  if (ladder.length < 6) return undefined;
  const times = ladder.map(({ seconds }) => seconds);
  const [begin, end] = [Math.min(...times), Math.max(...times)];
  const time = times.map((seconds) => (end > begin ? (seconds - begin) / (end - begin) - 0.5 : 0));
  const blocks = usableBlocks(ladder);
  const all = blocks.flatMap((block) => ladder.map(({ levels }) => levels[block]!));
  const [least, most] = [
    all.reduce((low, level) => Math.min(low, level), Number.POSITIVE_INFINITY),
    all.reduce((high, level) => Math.max(high, level), 0),
  ];
  if (!(most > 2 * least)) return undefined;
  const n = terms + 1 + ladder.length;
  const { normal, right, squares, rows } = equations(ladder, blocks, time, n);
  let levelScatter = levelAtFirst;
  for (let round = 0; ; round++) {
    const fit = solve({ normal, right, squares, rows }, n, levelScatter);
    if (!fit) return undefined;
    const errors = fit.values.slice(terms + 1);
    const freedom = Math.max(1, ladder.length - terms - 1);
    const spread = Math.sqrt(errors.reduce((sum, one) => sum + one * one, 0) / freedom);
    if (round === 3) {
      const [a, b, c] = fit.values as unknown as [number, number, number];
      return {
        coefficients: [a, b, c],
        covariance: fit.covariance,
        least,
        most,
        drift: fit.values[terms]!,
        levelScatter,
      };
    }
    levelScatter = Math.max(levelLeast, spread);
  }
}

function usableBlocks(ladder: readonly LadderStep[]): number[] {
  return Array.from({ length: ladder[0]!.levels.length }, (_, block) => block).filter((block) =>
    ladder.every(({ levels }) => levels[block]! > levelUsable),
  );
}

interface Equations {
  readonly normal: Float64Array;
  readonly right: Float64Array;
  readonly squares: number;
  readonly rows: number;
}

/** Of every block its own mean over the frames is taken out, the block's gain with it. */
function equations(
  ladder: readonly LadderStep[],
  blocks: readonly number[],
  time: readonly number[],
  n: number,
): Equations {
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  let squares = 0;
  for (const block of blocks) {
    const rows = ladder.map(({ levels, exposureSeconds }, k) => {
      const y = levels[block]!;
      const row = new Float64Array(n);
      row.set([y, y * y, y ** 3, time[k]!]);
      row[terms + 1 + k] = 1;
      return { row, value: Math.log(y) - Math.log(exposureSeconds) };
    });
    const mean = new Float64Array(n);
    for (const { row } of rows) for (let i = 0; i < n; i++) mean[i]! += row[i]! / rows.length;
    const meanValue = rows.reduce((sum, { value }) => sum + value, 0) / rows.length;
    for (const { row, value } of rows) {
      const left = value - meanValue;
      squares += left * left;
      for (let i = 0; i < n; i++) {
        const one = row[i]! - mean[i]!;
        right[i]! += one * left;
        for (let j = 0; j <= i; j++) normal[i * n + j]! += one * (row[j]! - mean[j]!);
      }
    }
  }
  return { normal, right, squares, rows: blocks.length * (ladder.length - 1) };
}

function solve({ normal, right, squares, rows }: Equations, n: number, levelScatter: number) {
  // The blocks' own noise, from what all unknowns together leave over.
  const free = withPrior(normal, n, 1e-9 * normal[n * n - 1]!);
  const rough = Cholesky.of(free, n)?.solve(right);
  if (!rough) return undefined;
  const left = squares - right.reduce((sum, value, i) => sum + value * rough[i]!, 0);
  const blockVariance = Math.max(1e-12, left / Math.max(1, rows - n));
  const factors = Cholesky.of(withPrior(normal, n, blockVariance / levelScatter ** 2), n);
  if (!factors) return undefined;
  const covariance: number[] = [];
  for (let i = 0; i < terms; i++) {
    const unit = new Float64Array(n);
    unit[i] = blockVariance;
    covariance.push(...factors.solve(unit).subarray(0, terms));
  }
  return { values: factors.solve(right), covariance };
}

function withPrior(normal: Float64Array, n: number, weight: number): Float64Array {
  const held = normal.slice();
  for (let i = terms + 1; i < n; i++) held[i * n + i]! += weight;
  return held;
}

/** ln(measured / true) at a measured level over full scale. */
export function responseAt(
  { coefficients: [a, b, c] }: Pick<SensorResponse, "coefficients">,
  level: number,
): number {
  return level * (a + level * (b + level * c));
}

/** What a flat at one level does to pictures at another: rms over the field, its mean taken out. */
export interface ResponseEffect {
  readonly rms: number;
  readonly sigma: number;
}

/** @param gain mean 1 over its lit pixels; a sample of them is enough */
export function responseEffect(
  response: Pick<SensorResponse, "coefficients" | "covariance">,
  gain: ArrayLike<number>,
  at: { readonly flatLevel: number; readonly pictureLevel: number },
): ResponseEffect {
  const columns = Array.from(gain, (g) => {
    const [flat, picture] = [at.flatLevel * g, at.pictureLevel * g];
    return [flat - picture, flat ** 2 - picture ** 2, flat ** 3 - picture ** 3] as const;
  });
  const means = [0, 1, 2].map((k) => columns.reduce((sum, column) => sum + column[k]!, 0) / columns.length);
  const products: number[] = new Array(9).fill(0);
  for (const column of columns)
    for (let i = 0; i < 3; i++)
      for (let j = 0; j < 3; j++)
        products[3 * i + j]! += ((column[i]! - means[i]!) * (column[j]! - means[j]!)) / columns.length;
  let [square, variance] = [0, 0];
  for (let i = 0; i < 3; i++)
    for (let j = 0; j < 3; j++) {
      square += products[3 * i + j]! * response.coefficients[i]! * response.coefficients[j]!;
      variance += products[3 * i + j]! * response.covariance[3 * i + j]!;
    }
  return { rms: Math.sqrt(Math.max(0, square)), sigma: Math.sqrt(Math.max(0, variance)) };
}
