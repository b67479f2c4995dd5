import { Random } from "../../drivers/kit/random.ts";

/** Frames of a textured Sun that drifts behind a dusty window, made quickly: for timing, not for accuracy. */
export function driftingFrames(options: {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly shifts: readonly { readonly x: number; readonly y: number }[];
  readonly seed: number;
  /** From so many frames on another Sun, of the same kind, is as bright. */
  readonly otherSunFrom?: number;
}): { frames: Uint16Array[]; gain: Float32Array } {
  const { widthPx, heightPx, shifts } = options;
  const random = new Random(options.seed);
  const reach = Math.ceil(Math.max(...shifts.flatMap(({ x, y }) => [Math.abs(x), Math.abs(y)]))) + 2;
  const [wide, high] = [widthPx + 2 * reach, heightPx + 2 * reach];
  const texture = (own: Random) => {
    let sun = Float32Array.from({ length: wide * high }, () => own.gauss());
    for (const radius of [2, 3]) sun = boxBlurred(boxBlurred(sun, wide, radius, 1), wide, radius, wide);
    return sun;
  };
  const firstSun = texture(random);
  const otherSun = options.otherSunFrom === undefined ? firstSun : texture(new Random(options.seed + 1));
  const scale = 0.08 / Math.sqrt(firstSun.reduce((sum, value) => sum + value * value, 0) / firstSun.length);
  const gain = new Float32Array(widthPx * heightPx);
  for (let y = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++) {
      const r2 = ((x / widthPx - 0.5) ** 2 + (y / heightPx - 0.5) ** 2) * 2;
      const ring = Math.hypot((x % 300) - 150, (y % 300) - 150);
      gain[y * widthPx + x] =
        (1 - 0.2 * r2) * (1 - 0.05 / (1 + Math.exp(ring - 25))) * (1 + 0.006 * random.gauss());
    }
  }
  const noise = Float32Array.from({ length: 1 << 20 }, () => random.gauss());
  const frames = shifts.map((shift, k) => {
    const sun = k < (options.otherSunFrom ?? shifts.length) ? firstSun : mix(firstSun, otherSun);
    const [px, py] = [reach - shift.x, reach - shift.y];
    const [column, row] = [Math.floor(px), Math.floor(py)];
    const [fx, fy] = [px - column, py - row];
    const start = random.whole(0, (1 << 20) - 1);
    const frame = new Uint16Array(widthPx * heightPx);
    for (let y = 0; y < heightPx; y++) {
      for (let x = 0; x < widthPx; x++) {
        const at = (y + row) * wide + x + column;
        const seen =
          (1 - fy) * ((1 - fx) * sun[at]! + fx * sun[at + 1]!) +
          fy * ((1 - fx) * sun[at + wide]! + fx * sun[at + wide + 1]!);
        const i = y * widthPx + x;
        const level = 30_000 * gain[i]! * (1 + scale * seen);
        frame[i] = level * (1 + 0.01 * noise[(i + start) & ((1 << 20) - 1)]!);
      }
    }
    return frame;
  });
  return { frames, gain };
}

/** Half and half. */
function mix(one: Float32Array, other: Float32Array): Float32Array {
  return one.map((value, i) => (value + other[i]!) / 2);
}

/** Running mean along rows (stride 1) or columns (stride of a row); the ends are left as they are. */
function boxBlurred(
  picture: Float32Array,
  wide: number,
  radius: number,
  stride: number,
): Float32Array<ArrayBuffer> {
  const blurred = picture.slice();
  const high = picture.length / wide;
  const [lines, length, step] = stride === 1 ? [high, wide, wide] : [wide, high, 1];
  for (let line = 0; line < lines; line++) {
    const start = line * step;
    let sum = 0;
    for (let k = 0; k < 2 * radius; k++) sum += picture[start + k * stride]!;
    for (let k = radius; k + radius < length; k++) {
      sum += picture[start + (k + radius) * stride]!;
      blurred[start + k * stride] = sum / (2 * radius + 1);
      sum -= picture[start + (k - radius) * stride]!;
    }
  }
  return blurred;
}
