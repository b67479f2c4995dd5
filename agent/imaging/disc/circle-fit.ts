/** A point on the frame: x right, y down, from the centre of pixel (0, 0). */
export interface PointPx {
  readonly xPx: number;
  readonly yPx: number;
}

export interface Circle extends PointPx {
  readonly radiusPx: number;
}

/** Means and central moments of points, with z = x² + y² about the mean. */
interface Moments {
  readonly meanX: number;
  readonly meanY: number;
  readonly xx: number;
  readonly yy: number;
  readonly xy: number;
  readonly xz: number;
  readonly yz: number;
  readonly zz: number;
  /** xx + yy */
  readonly z: number;
  /** xx·yy - xy² */
  readonly covariance: number;
}

/**
 * Taubin's algebraic fit, nearly free of the bias to a small radius that plain ones have on short arcs.
 * @returns undefined when the points lie on a line or are fewer than three
 * Source: Taubin, IEEE Trans. PAMI 13 (1991) 1115; solved by Newton's method as in
 * Chernov, Circular and Linear Regression (2010), ch. 5.
 */
export function fitCircleTaubin(points: readonly PointPx[]): Circle | undefined {
  const m = momentsOf(points);
  if (!m) return undefined;
  return circleFrom(m, smallestRoot(characteristicPolynomial(m)));
}

/** The circle through three points; undefined when they lie on a line. */
export function circleThrough(a: PointPx, b: PointPx, c: PointPx): Circle | undefined {
  const bx = b.xPx - a.xPx;
  const by = b.yPx - a.yPx;
  const cx = c.xPx - a.xPx;
  const cy = c.yPx - a.yPx;
  const cross = 2 * (bx * cy - by * cx);
  if (cross === 0) return undefined;
  const bb = bx * bx + by * by;
  const cc = cx * cx + cy * cy;
  const x = (cy * bb - by * cc) / cross;
  const y = (bx * cc - cx * bb) / cross;
  return { xPx: a.xPx + x, yPx: a.yPx + y, radiusPx: Math.hypot(x, y) };
}

function momentsOf(points: readonly PointPx[]): Moments | undefined {
  const n = points.length;
  if (n < 3) return undefined;
  let meanX = 0;
  let meanY = 0;
  for (const { xPx, yPx } of points) {
    meanX += xPx / n;
    meanY += yPx / n;
  }
  let xx = 0;
  let yy = 0;
  let xy = 0;
  let xz = 0;
  let yz = 0;
  let zz = 0;
  for (const point of points) {
    const x = point.xPx - meanX;
    const y = point.yPx - meanY;
    const z = x * x + y * y;
    xx += (x * x) / n;
    yy += (y * y) / n;
    xy += (x * y) / n;
    xz += (x * z) / n;
    yz += (y * z) / n;
    zz += (z * z) / n;
  }
  const covariance = xx * yy - xy * xy;
  if (covariance <= 1e-12 * (xx + yy) ** 2) return undefined; // on a line
  return { meanX, meanY, xx, yy, xy, xz, yz, zz, z: xx + yy, covariance };
}

/** Coefficients, the constant first. */
function characteristicPolynomial(m: Moments): readonly number[] {
  const varianceOfZ = m.zz - m.z * m.z;
  return [
    m.xz * (m.xz * m.yy - m.yz * m.xy) + m.yz * (m.yz * m.xx - m.xz * m.xy) - varianceOfZ * m.covariance,
    varianceOfZ * m.z + 4 * m.covariance * m.z - m.xz * m.xz - m.yz * m.yz,
    -3 * m.z * m.z - m.zz,
    4 * m.z,
  ];
}

/** Newton's method from zero, which converges to the smallest non-negative root from the left. */
function smallestRoot(coefficients: readonly number[]): number {
  let root = 0;
  for (let round = 0; round < 100; round++) {
    let value = 0;
    let slope = 0;
    for (let i = coefficients.length - 1; i >= 0; i--) {
      slope = slope * root + value;
      value = value * root + coefficients[i]!;
    }
    const next = root - value / slope;
    if (!Number.isFinite(next) || next === root) break;
    const settled = Math.abs(next - root) <= 1e-15 * Math.abs(next);
    root = next;
    if (settled) break;
  }
  return root;
}

function circleFrom(m: Moments, eta: number): Circle | undefined {
  const determinant = 2 * (eta * eta - eta * m.z + m.covariance);
  const x = (m.xz * (m.yy - eta) - m.yz * m.xy) / determinant;
  const y = (m.yz * (m.xx - eta) - m.xz * m.xy) / determinant;
  const radiusPx = Math.sqrt(x * x + y * y + m.z);
  return Number.isFinite(radiusPx) ? { xPx: x + m.meanX, yPx: y + m.meanY, radiusPx } : undefined;
}
