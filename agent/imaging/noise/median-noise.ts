import { centralShare, normalDensity, upperTail } from "../numerics/normal.ts";

const known = new Map<number, number>();

/**
 * How much noisier the median of n normal values is than their mean; of an even number, the mean of the two in the middle
 * is the median. By integrals over the order statistics, to 6 digits. The limit is sqrt(π/2).
 * Source: densities of order statistics, H. A. David, Order Statistics (1970), ch. 2 (from memory).
 */
export function medianNoise(n: number): number {
  let noise = known.get(n);
  if (noise === undefined) {
    noise = n < 3 ? 1 : Math.sqrt(n * (n % 2 === 1 ? varianceOfMiddle(n) : varianceOfMiddleTwo(n)));
    known.set(n, noise);
  }
  return noise;
}

/** Steps on either side of zero. The trapezoidal rule is exact to rounding for such bells. */
const steps = 160;

/** How far out the median of n can lie, well within what rounding leaves. */
function reach(n: number): number {
  return Math.min(8, (12 * Math.sqrt(Math.PI / 2)) / Math.sqrt(n));
}

/** The density of the middle one is Φ^r (1-Φ)^r φ, but for a factor, r below and r above it. */
function varianceOfMiddle(n: number): number {
  const r = (n - 1) / 2;
  const step = reach(n) / steps;
  let [sum, squares] = [0, 0];
  for (let k = -steps; k <= steps; k++) {
    const x = k * step;
    // 4 Φ (1-Φ) = 1 - (2Φ - 1)²
    const weight = Math.exp(r * Math.log1p(-(centralShare(x) ** 2))) * normalDensity(x);
    sum += weight;
    squares += weight * x * x;
  }
  return squares / sum;
}

let nodesAndWeights: [nodes: number[], weights: number[]] | undefined;

/** The two in the middle at m - d and m + d: Φ(m-d)^s (1-Φ(m+d))^s φ(m-d) φ(m+d), s below and s above them. */
function varianceOfMiddleTwo(n: number): number {
  const s = n / 2 - 1;
  const step = reach(n) / steps;
  const apart = Math.min(8, 60 / n);
  nodesAndWeights ??= gaussLegendre(48);
  const [nodes, weights] = nodesAndWeights;
  const logLower = (x: number) => Math.log(2 * upperTail(-x));
  let [sum, squares] = [0, 0];
  for (let k = 0; k <= steps; k++) {
    const m = k * step;
    let density = 0;
    for (let j = 0; j < nodes.length; j++) {
      const d = nodes[j]! * apart;
      const both = normalDensity(m - d) * normalDensity(m + d);
      density += weights[j]! * both * Math.exp(s * (logLower(m - d) + logLower(-m - d)));
    }
    if (k === 0) density /= 2; // the other half is its mirror image
    sum += density;
    squares += density * m * m;
  }
  return squares / sum;
}

/** Nodes and weights on 0 … 1. Source: Newton's method on the Legendre polynomial, Abramowitz & Stegun 25.4.29. */
function gaussLegendre(count: number): [nodes: number[], weights: number[]] {
  const nodes: number[] = [];
  const weights: number[] = [];
  for (let k = 0; k < count; k++) {
    let x = Math.cos((Math.PI * (k + 0.75)) / (count + 0.5));
    let slope = 1;
    for (let round = 0; round < 8; round++) {
      let [before, here] = [0, 1];
      for (let j = 1; j <= count; j++)
        [before, here] = [here, ((2 * j - 1) * x * here - (j - 1) * before) / j];
      slope = (count * (x * here - before)) / (x * x - 1);
      x -= here / slope;
    }
    nodes.push((1 + x) / 2);
    weights.push(1 / ((1 - x * x) * slope * slope));
  }
  return [nodes, weights];
}
