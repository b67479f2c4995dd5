import type { Random } from "../../../drivers/kit/random.ts";
import { complexPicture, transform } from "./fourier.ts";

/** Gaussian texture between two scales [px], equal power in each octave, of that rms. Periodic. */
export function texture(
  random: Random,
  side: number,
  finePx: number,
  coarsePx: number,
  rms: number,
): Float64Array {
  const picture = complexPicture(side);
  for (let i = 0; i < side * side; i++) picture.re[i] = random.gauss();
  transform(picture, side, "forward");
  forEachFrequency(side, (i, fx, fy) => {
    const f = Math.hypot(fx, fy);
    const weight = f >= 1 / coarsePx && f <= 1 / finePx ? 1 / f : 0;
    picture.re[i]! *= weight;
    picture.im[i]! *= weight;
  });
  transform(picture, side, "backward");
  const scale = rms / Math.sqrt(picture.re.reduce((sum, value) => sum + value * value, 0) / (side * side));
  return picture.re.map((value) => value * scale);
}

/** Frequencies in waves per pixel. */
function forEachFrequency(side: number, visit: (i: number, fx: number, fy: number) => void): void {
  const signed = (k: number) => (k > side / 2 ? k - side : k) / side;
  for (let y = 0; y < side; y++) for (let x = 0; x < side; x++) visit(y * side + x, signed(x), signed(y));
}

export interface SunSpec {
  /** Rms of the texture at 5–40, 2–8 and 40–160 px. */
  readonly textureRms: readonly [number, number, number];
  readonly activeRegions: boolean;
}

export const usualSun: SunSpec = { textureRms: [0.07, 0.03, 0.02], activeRegions: true };

/** The Sun's surface, mean about 1, without limb darkening; active regions within `viewPx` of the middle. */
export function sunSurface(random: Random, side: number, viewPx: number, spec: SunSpec): Float64Array {
  const [middle, fine, coarse] = spec.textureRms;
  const log = texture(random, side, 5, 40, middle);
  for (const [rms, from, to] of [
    [fine, 2, 8],
    [coarse, 40, 160],
  ] as const) {
    const more = texture(random, side, from, to, rms);
    for (let i = 0; i < log.length; i++) log[i]! += more[i]!;
  }
  const surface = log.map(Math.exp);
  if (!spec.activeRegions) return surface;
  const place = () => side / 2 + random.between(-0.42, 0.42) * viewPx;
  const patch = (factor: number, radiusPx: number, edgePx: number) => {
    const [x0, y0, ratio, turn] = [place(), place(), random.between(0.6, 1), random.between(0, Math.PI)];
    const [c, s] = [Math.cos(turn), Math.sin(turn)];
    visitNear(side, x0, y0, radiusPx + 8 * edgePx, (i, dx, dy) => {
      const r = Math.hypot(dx * c + dy * s, (dy * c - dx * s) / ratio);
      surface[i]! *= 1 + (factor - 1) / (1 + Math.exp((r - radiusPx) / edgePx));
    });
  };
  for (let k = 0; k < 3; k++) patch(random.between(1.25, 1.4), random.between(18, 45), 4);
  for (let k = 0; k < 3; k++) patch(random.between(0.2, 0.5), random.between(5, 12), 1.2);
  for (let k = 0; k < 4; k++) filament(random, surface, side, [place(), place()]);
  return surface;
}

function filament(random: Random, surface: Float64Array, side: number, at: readonly [number, number]): void {
  const [depth, lengthPx, halfWidthPx] = [
    random.between(0.25, 0.3),
    random.between(60, 150),
    random.between(2, 3.5),
  ];
  const [turn, bend] = [random.between(0, Math.PI), random.between(-0.004, 0.004)];
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  visitNear(side, at[0], at[1], lengthPx, (i, dx, dy) => {
    const along = dx * c + dy * s;
    const across = dy * c - dx * s - bend * along * along;
    const inside = 1 / (1 + Math.exp((Math.abs(along) - lengthPx / 2) / 4));
    surface[i]! *= 1 - depth * inside * Math.exp(-0.5 * (across / halfWidthPx) ** 2);
  });
}

function visitNear(
  side: number,
  x0: number,
  y0: number,
  reachPx: number,
  visit: (i: number, dx: number, dy: number) => void,
): void {
  const from = (centre: number) => Math.max(0, Math.floor(centre - reachPx));
  const to = (centre: number) => Math.min(side, Math.ceil(centre + reachPx));
  for (let y = from(y0); y < to(y0); y++)
    for (let x = from(x0); x < to(x0); x++) visit(y * side + x, x - x0, y - y0);
}
