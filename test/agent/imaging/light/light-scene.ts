import { brightnessAtRadius, limbDarkening } from "../../../../agent/imaging/disc/limb-darkening.ts";
import type { LightInput } from "../../../../agent/imaging/light/solve-looks.ts";
import { gaussianBlur } from "../../../../agent/imaging/numerics/gaussian-blur.ts";
import type { Shape } from "../../../../agent/imaging/numerics/shape.ts";
import { Random } from "../../../../drivers/kit/random.ts";

/** A rig, its flat with an error of the light, and displaced frames of the Sun. */
export interface LightScene {
  readonly input: LightInput;
  /** Logarithm of the flat over the rig's true gain. */
  readonly error: Float32Array;
  readonly shifts: readonly { readonly x: number; readonly y: number }[];
}

export interface LightSceneOptions {
  readonly seed: number;
  readonly shape?: Shape;
  /** Of the disc, in heights of the frame; small ones lie whole in the frame. */
  readonly radiusHeights?: number;
  readonly looks?: number;
  readonly reachHeights?: number;
  readonly hazeGradient?: number;
  /** Logarithm of what the light wrote into the flat, by place (-1/2 … 1/2) and by the Sun there. */
  readonly error?: (x: number, y: number, sun: number) => number;
  /** Light that a look has besides, over the disc's middle, by its shift and place [px]. */
  readonly ghost?: (shift: { readonly x: number; readonly y: number }, x: number, y: number) => number;
}

const fullElectrons = 20_000;
const usualShape = { widthPx: 192, heightPx: 144 };

export function lightScene(options: LightSceneOptions): LightScene {
  const { seed, shape = usualShape, radiusHeights = 3.1, looks = 9, reachHeights = 0.25 } = options;
  const { hazeGradient = 0.003, error = () => 0, ghost = () => 0 } = options;
  const random = new Random(seed);
  const { widthPx, heightPx } = shape;
  const pxCount = widthPx * heightPx;
  const margin = Math.ceil(reachHeights * heightPx) + 12;
  const wide = { widthPx: widthPx + 2 * margin, heightPx: heightPx + 2 * margin };
  const radiusPx = radiusHeights * heightPx;
  const middle = radiusHeights < 1 ? { x: 0, y: 0 } : { x: 0.9 * heightPx, y: 0.6 * heightPx };
  const sun = drawSun(random, wide, radiusPx, {
    x: margin + (widthPx - 1) / 2 + middle.x,
    y: margin + (heightPx - 1) / 2 + middle.y,
  });
  const gain = Float32Array.from({ length: pxCount }, (_, i) => {
    const [x, y] = [(i % widthPx) / widthPx - 0.5, Math.floor(i / widthPx) / heightPx - 0.5];
    return (1 - 0.5 * (x * x + y * y)) * (1 + 0.008 * random.gauss());
  });
  const at = (canvas: Float32Array, x: number, y: number) =>
    sample(canvas, wide.widthPx, x + margin, y + margin);
  const placeOf = (i: number) => ({ x: i % widthPx, y: Math.floor(i / widthPx) });
  const errorMap = Float32Array.from({ length: pxCount }, (_, i) => {
    const { x, y } = placeOf(i);
    return error((x + 0.5) / widthPx - 0.5, (y + 0.5) / heightPx - 0.5, at(sun, x, y));
  });
  const noisy = (level: number, frames: number) =>
    level + (Math.sqrt(level / fullElectrons) * random.gauss()) / Math.sqrt(frames);
  const flat = gain.map((value, i) => noisy(0.8 * value * Math.exp(errorMap[i]!), 40));
  const flatMean = flat.reduce((sum, value) => sum + value, 0) / pxCount;
  const shifts = crossOf(looks).map(({ x, y }) => ({
    x: reachHeights * heightPx * x + (x === 0 && y === 0 ? 0 : 0.2 * random.gauss()),
    y: reachHeights * heightPx * y + (x === 0 && y === 0 ? 0 : 0.2 * random.gauss()),
  }));
  const frames = shifts.map((shift) => {
    const seen = gaussianBlur(sun, wide, random.between(1, 1.6));
    const [hazeX, hazeY] = [hazeGradient * random.gauss(), hazeGradient * random.gauss()];
    const level = 0.7 * Math.exp(0.02 * random.gauss());
    return gain.map((value, i) => {
      const { x, y } = placeOf(i);
      const sky = 1 + hazeX * ((x + 0.5) / widthPx - 0.5) + hazeY * ((y + 0.5) / heightPx - 0.5);
      const light = at(seen, x - shift.x, y - shift.y) * sky + ghost(shift, x, y);
      return 60_000 * noisy(Math.max(0, level * value * light), 1);
    });
  });
  const disc = { x: (widthPx - 1) / 2 + middle.x, y: (heightPx - 1) / 2 + middle.y, radiusPx };
  return {
    input: {
      shape,
      looks: frames,
      flat: { gain: flat.map((value) => value / flatMean), mask: new Uint8Array(pxCount) },
      disc,
    },
    error: errorMap,
    shifts,
  };
}

/** A cross of nine, then the same turned by 45°. */
function crossOf(looks: number): { x: number; y: number }[] {
  const arms = [0.5, 1].flatMap((arm) => [
    { x: arm, y: 0 },
    { x: 0, y: arm },
    { x: -arm, y: 0 },
    { x: 0, y: -arm },
  ]);
  const turned = arms.map(({ x, y }) => ({ x: (x - y) / Math.SQRT2, y: (x + y) / Math.SQRT2 }));
  return [{ x: 0, y: 0 }, ...arms, ...turned].slice(0, looks);
}

/** A darkened disc with structure of several sizes, a spot and two bright regions. */
function drawSun(
  random: Random,
  shape: Shape,
  radiusPx: number,
  centre: { x: number; y: number },
): Float32Array {
  const { widthPx, heightPx } = shape;
  const structure = new Float32Array(widthPx * heightPx);
  for (const [sigmaPx, rms] of [
    [2, 0.025],
    [6, 0.03],
    [20, 0.03],
  ] as const) {
    const noise = gaussianBlur(
      structure.map(() => random.gauss()),
      shape,
      sigmaPx,
    );
    const own = Math.sqrt(noise.reduce((sum, value) => sum + value * value, 0) / noise.length);
    for (let i = 0; i < noise.length; i++) structure[i]! += (rms * noise[i]!) / own;
  }
  const regions = [-0.5, 0.35, 0.4].map((excess) => ({
    excess,
    x: widthPx * random.between(0.35, 0.65),
    y: heightPx * random.between(0.35, 0.65),
    sigmaPx: excess < 0 ? 3 : 8,
  }));
  const darkening = limbDarkening(656.28);
  return structure.map((value, i) => {
    const [x, y] = [i % widthPx, Math.floor(i / widthPx)];
    const r = Math.hypot(x - centre.x, y - centre.y);
    const edge = Math.max(0, Math.min(1, radiusPx - r + 0.5));
    const disc = brightnessAtRadius(darkening, Math.min(0.9999, r / radiusPx)) * edge;
    const bright = regions.reduce(
      (product, one) =>
        product *
        (1 + one.excess * Math.exp(-((x - one.x) ** 2 + (y - one.y) ** 2) / (2 * one.sigmaPx ** 2))),
      1,
    );
    return Math.exp(value) * disc * bright + 0.002 * (1 - edge);
  });
}

/** Bicubic, a = -1/2. */
function sample(picture: Float32Array, widthPx: number, x: number, y: number): number {
  const [left, top] = [Math.floor(x), Math.floor(y)];
  const [across, down] = [cubic(x - left), cubic(y - top)];
  let sum = 0;
  for (let j = 0; j < 4; j++)
    for (let i = 0; i < 4; i++)
      sum += down[j]! * across[i]! * (picture[(top + j - 1) * widthPx + left + i - 1] ?? 0);
  return sum;
}

function cubic(t: number): readonly number[] {
  return [
    -0.5 * t + t * t - 0.5 * t ** 3,
    1 - 2.5 * t * t + 1.5 * t ** 3,
    0.5 * t + 2 * t * t - 1.5 * t ** 3,
    -0.5 * t * t + 0.5 * t ** 3,
  ];
}

/** Means of a picture's blocks over those where `seen` holds a number, less their plane. */
export function blockTruth(
  picture: Float32Array,
  shape: Shape,
  map: { readonly sidePx: number; readonly columns: number; readonly error: readonly number[] },
): Map<number, number> {
  const { widthPx, heightPx } = shape;
  const blocks = [...map.error.keys()].filter((b) => !Number.isNaN(map.error[b]!));
  const values = blocks.map((b) => {
    const [x0, y0] = [(b % map.columns) * map.sidePx, Math.floor(b / map.columns) * map.sidePx];
    let [sum, count] = [0, 0];
    for (let y = y0; y < Math.min(heightPx, y0 + map.sidePx); y++)
      for (let x = x0; x < Math.min(widthPx, x0 + map.sidePx); x++) {
        sum += picture[y * widthPx + x]!;
        count++;
      }
    return sum / count;
  });
  const place = blocks.map((b) => [b % map.columns, Math.floor(b / map.columns)] as const);
  const mean = (of: (k: number) => number) => blocks.reduce((sum, _, k) => sum + of(k), 0) / blocks.length;
  const [mx, my, mv] = [mean((k) => place[k]![0]), mean((k) => place[k]![1]), mean((k) => values[k]!)];
  const xx = mean((k) => (place[k]![0] - mx) ** 2);
  const yy = mean((k) => (place[k]![1] - my) ** 2);
  const xy = mean((k) => (place[k]![0] - mx) * (place[k]![1] - my));
  const xv = mean((k) => (place[k]![0] - mx) * (values[k]! - mv));
  const yv = mean((k) => (place[k]![1] - my) * (values[k]! - mv));
  const determinant = xx * yy - xy * xy;
  const [kx, ky] = [(yy * xv - xy * yv) / determinant, (xx * yv - xy * xv) / determinant];
  return new Map(
    blocks.map((b, k) => [b, values[k]! - mv - kx * (place[k]![0] - mx) - ky * (place[k]![1] - my)]),
  );
}
