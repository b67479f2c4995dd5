/** Convolution with a Gaussian, in place; outside the image counts as its nearest edge. */
export function blurGaussian(image: Float32Array, widthPx: number, heightPx: number, sigmaPx: number): void {
  if (sigmaPx <= 0) return;
  const reach = Math.max(1, Math.ceil(4 * sigmaPx));
  const weights = new Float64Array(2 * reach + 1);
  let sum = 0;
  for (let k = -reach; k <= reach; k++) {
    // Integral over the pixel, not the value at its middle: narrow Gaussians keep their width and their sum.
    weights[k + reach] = gaussIntegral((k + 0.5) / sigmaPx) - gaussIntegral((k - 0.5) / sigmaPx);
    sum += weights[k + reach]!;
  }
  for (let k = 0; k < weights.length; k++) weights[k]! /= sum;
  const line = new Float32Array(widthPx + 2 * reach);
  for (let y = 0; y < heightPx; y++) {
    const start = y * widthPx;
    line.fill(image[start]!, 0, reach);
    line.set(image.subarray(start, start + widthPx), reach);
    line.fill(image[start + widthPx - 1]!, reach + widthPx);
    for (let x = 0; x < widthPx; x++) {
      let value = 0;
      for (let k = 0; k < weights.length; k++) value += weights[k]! * line[x + k]!;
      image[start + x] = value;
    }
  }
  // Down the columns row by row: a ring of the rows above keeps what has already been overwritten.
  const source = image.slice();
  const row = new Float64Array(widthPx);
  for (let y = 0; y < heightPx; y++) {
    row.fill(0);
    for (let k = -reach; k <= reach; k++) {
      const from = Math.min(heightPx - 1, Math.max(0, y + k)) * widthPx;
      const weight = weights[k + reach]!;
      for (let x = 0; x < widthPx; x++) row[x]! += weight * source[from + x]!;
    }
    image.set(row, y * widthPx);
  }
}

/**
 * Convolution with an evenly lit ring, as an out-of-focus pupil makes it; outside the image is black.
 * @returns a new image
 */
export function blurPupil(
  image: Float32Array,
  widthPx: number,
  heightPx: number,
  outerRadiusPx: number,
  innerRadiusPx: number,
): Float32Array {
  const running = new Float64Array((widthPx + 1) * heightPx);
  for (let y = 0; y < heightPx; y++) {
    for (let x = 0, total = 0; x < widthPx; x++) {
      total += image[y * widthPx + x]!;
      running[y * (widthPx + 1) + x + 1] = total;
    }
  }
  const out = new Float64Array(widthPx * heightPx);
  const area = addDisc(out, running, widthPx, heightPx, outerRadiusPx, 1);
  const hole = innerRadiusPx > 0 ? addDisc(out, running, widthPx, heightPx, innerRadiusPx, -1) : 0;
  const scale = 1 / (area - hole);
  const blurred = new Float32Array(out.length);
  for (let i = 0; i < out.length; i++) blurred[i] = out[i]! * scale;
  return blurred;
}

/** Adds the sum over a disc about every pixel, chord by chord; the chords' ends count by fractions of a pixel. */
function addDisc(
  out: Float64Array,
  running: Float64Array,
  widthPx: number,
  heightPx: number,
  radiusPx: number,
  sign: number,
): number {
  let area = 0;
  const rows = Math.ceil(radiusPx);
  for (let dy = -rows; dy <= rows; dy++) {
    const half = meanHalfChord(radiusPx, dy);
    if (half <= 0) continue;
    area += 2 * half;
    // The chord covers [x + 0.5 - half, x + 0.5 + half] where pixel x covers [x, x + 1].
    const reach = half - 0.5;
    const whole = Math.floor(reach);
    const part = reach - whole;
    for (let y = Math.max(0, -dy); y < Math.min(heightPx, heightPx - dy); y++) {
      const from = (y + dy) * (widthPx + 1);
      const start = y * widthPx;
      const clear = Math.min(widthPx, Math.max(0, whole + 1));
      const clearEnd = Math.max(clear, widthPx - whole - 1);
      const addAtEdge = (x: number) => {
        const right = x + 1 + whole;
        const left = x - whole;
        const r0 = running[from + clamp(right, widthPx)]!;
        const r1 = running[from + clamp(right + 1, widthPx)]!;
        const l0 = running[from + clamp(left, widthPx)]!;
        const l1 = running[from + clamp(left - 1, widthPx)]!;
        out[start + x]! += sign * (r0 + part * (r1 - r0) - l0 - part * (l1 - l0));
      };
      for (let x = 0; x < clear; x++) addAtEdge(x);
      for (let x = clear; x < clearEnd; x++) {
        const right = from + x + 1 + whole;
        const left = from + x - whole;
        const r0 = running[right]!;
        const r1 = running[right + 1]!;
        const l0 = running[left]!;
        const l1 = running[left - 1]!;
        out[start + x]! += sign * (r0 + part * (r1 - r0) - l0 - part * (l1 - l0));
      }
      for (let x = clearEnd; x < widthPx; x++) addAtEdge(x);
    }
  }
  return area;
}

function clamp(value: number, top: number): number {
  return Math.min(top, Math.max(0, value));
}

/** Half the chord of a circle, averaged over a row of height 1. */
function meanHalfChord(radius: number, dy: number): number {
  let sum = 0;
  for (let k = 0; k < 8; k++) {
    const h = dy + (k + 0.5) / 8 - 0.5;
    sum += h * h < radius * radius ? Math.sqrt(radius * radius - h * h) : 0;
  }
  return sum / 8;
}

/** Integral of the normal density from minus infinity (Abramowitz & Stegun 7.1.26 with sign, error 1.5e-7). */
function gaussIntegral(z: number): number {
  const x = Math.abs(z) / Math.SQRT2;
  const t = 1 / (1 + 0.3275911 * x);
  const erfc =
    t *
    (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429)))) *
    Math.exp(-x * x);
  return z > 0 ? 1 - erfc / 2 : erfc / 2;
}
