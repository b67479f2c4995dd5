import { invertSymmetric } from "../numerics/linear-solve.ts";

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

/** Of the response, and the light's drift. */
const terms = 3;
const unknowns = terms + 1;
const framesLeast = 6;
/** A level this low tells of the dark rather than of the light. */
const levelUsable = 0.02;

/**
 * The sensor's curve from a ladder of exposures: ln level - ln seconds = ln gain + n(level) + drift · time.
 * The gain of every block is taken out. What single frames of the ladder are off together is the light's unsteadiness: the
 * covariance is a sandwich of frames. Levels that were free to err would lose n: n + p · ln level is as good as n.
 * @returns `undefined` with fewer than six frames or no spread of levels
 */
export function measureResponse(ladder: readonly LadderStep[]): SensorResponse | undefined {
  if (ladder.length < framesLeast) return undefined;
  const times = ladder.map(({ seconds }) => seconds);
  const [begin, end] = [Math.min(...times), Math.max(...times)];
  const time = times.map((seconds) => (end > begin ? (seconds - begin) / (end - begin) - 0.5 : 0));
  const blocks = usableBlocks(ladder);
  let [least, most] = [Number.POSITIVE_INFINITY, 0];
  for (const { levels } of ladder)
    for (const block of blocks) {
      least = Math.min(least, levels[block]!);
      most = Math.max(most, levels[block]!);
    }
  if (!(most > 2 * least)) return undefined;
  const normal: number[] = new Array(unknowns ** 2).fill(0);
  const right: number[] = new Array(unknowns).fill(0);
  eachRow(ladder, blocks, time, (_, row, value) => {
    for (let i = 0; i < unknowns; i++) {
      right[i]! += row[i]! * value;
      for (let j = 0; j < unknowns; j++) normal[i * unknowns + j]! += row[i]! * row[j]!;
    }
  });
  const inverse = invertSymmetric(normal, unknowns);
  if (!inverse) return undefined;
  const values = right.map((_, i) =>
    right.reduce((sum, one, j) => sum + inverse[i * unknowns + j]! * one, 0),
  );
  const frames = ladder.map(() => new Float64Array(unknowns));
  const errors = new Float64Array(ladder.length);
  eachRow(ladder, blocks, time, (k, row, value) => {
    const left = value - row.reduce((sum, one, i) => sum + one * values[i]!, 0);
    errors[k]! += left / blocks.length;
    for (let i = 0; i < unknowns; i++) frames[k]![i]! += left * row[i]!;
  });
  const freedom = ladder.length / (ladder.length - unknowns);
  const projected = frames.map((frame) =>
    Array.from({ length: terms }, (_, i) =>
      frame.reduce((sum, one, j) => sum + inverse[i * unknowns + j]! * one, 0),
    ),
  );
  const covariance = Array.from(
    { length: terms ** 2 },
    (_, at) =>
      freedom * projected.reduce((sum, one) => sum + one[Math.floor(at / terms)]! * one[at % terms]!, 0),
  );
  const [a, b, c, drift] = values as [number, number, number, number];
  const levelScatter = Math.sqrt(freedom * (errors.reduce((sum, one) => sum + one * one, 0) / ladder.length));
  return { coefficients: [a, b, c], covariance, least, most, drift, levelScatter };
}

function usableBlocks(ladder: readonly LadderStep[]): number[] {
  return Array.from({ length: ladder[0]!.levels.length }, (_, block) => block).filter((block) =>
    ladder.every(({ levels }) => levels[block]! > levelUsable),
  );
}

/** Of every block its own mean over the frames is taken out, the block's gain with it. */
function eachRow(
  ladder: readonly LadderStep[],
  blocks: readonly number[],
  time: readonly number[],
  visit: (frame: number, row: Float64Array, value: number) => void,
): void {
  const rows = ladder.map(() => new Float64Array(unknowns));
  const values = new Float64Array(ladder.length);
  const mean = new Float64Array(unknowns);
  for (const block of blocks) {
    mean.fill(0);
    let meanValue = 0;
    ladder.forEach(({ levels, exposureSeconds }, k) => {
      const y = levels[block]!;
      rows[k]!.set([y, y * y, y ** 3, time[k]!]);
      values[k] = Math.log(y / exposureSeconds);
      meanValue += values[k]! / ladder.length;
      for (let i = 0; i < unknowns; i++) mean[i]! += rows[k]![i]! / ladder.length;
    });
    rows.forEach((row, k) => {
      for (let i = 0; i < unknowns; i++) row[i]! -= mean[i]!;
      visit(k, row, values[k]! - meanValue);
    });
  }
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
