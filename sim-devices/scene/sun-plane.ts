import { blurGaussian, blurPupil } from "./blur.ts";
import { discFromPx, type ImageGeometry } from "./image-geometry.ts";
import type { SunSurface } from "./sun-surface.ts";

/** Part of the sensor, unbinned pixels. */
export interface Patch {
  readonly xPx: number;
  readonly yPx: number;
  readonly widthPx: number;
  readonly heightPx: number;
}

/**
 * The Sun as the optics image it, blurred, drawn once on a grid fixed to the Sun's centre.
 * Frames in which only the Sun's place differs are sampled from it. Grid sample (i, j) lies
 * at (i, j) × step pixels from the Sun's centre; a strong blur allows coarse steps.
 */
export class SunPlane {
  readonly step: number;
  readonly #level: Float32Array;
  readonly #left: number;
  readonly #top: number;
  readonly #width: number;
  readonly #height: number;
  /** Beyond this many samples from the centre there is no light. */
  readonly #extent: number;

  /** Draws what `patch` with the Sun at (xPx, yPx) needs, and a margin for the Sun to wander. */
  constructor(
    surface: SunSurface,
    readonly geometry: ImageGeometry,
    patch: Patch,
    sunXPx: number,
    sunYPx: number,
  ) {
    this.step = Math.max(1, Math.floor(Math.max(geometry.sigmaPx / 2.5, geometry.pupilPx / 16)));
    this.#extent = extentOf(geometry, this.step);
    const margin = 0.25;
    const needed = this.#needed(patch, sunXPx, sunYPx, margin);
    this.#left = needed.left;
    this.#top = needed.top;
    this.#width = Math.max(4, needed.right - needed.left + 1);
    this.#height = Math.max(4, needed.bottom - needed.top + 1);
    this.#level = drawBlurred(surface, geometry, this.step, {
      left: this.#left,
      top: this.#top,
      width: this.#width,
      height: this.#height,
    });
  }

  covers(patch: Patch, sunXPx: number, sunYPx: number): boolean {
    const needed = this.#needed(patch, sunXPx, sunYPx, 0);
    if (needed.left > needed.right || needed.top > needed.bottom) return true; // the Sun is not in the patch
    return (
      needed.left >= this.#left &&
      needed.top >= this.#top &&
      needed.right < this.#left + this.#width &&
      needed.bottom < this.#top + this.#height
    );
  }

  /** Adds weight × the Sun's level to every pixel of the patch; cubic (Catmull-Rom) between samples. */
  addTo(out: Float32Array, patch: Patch, sunXPx: number, sunYPx: number, weight: number): void {
    const columns = cubicTaps(patch.xPx - sunXPx, patch.widthPx, this.step, this.#left, this.#width);
    const rows = cubicTaps(patch.yPx - sunYPx, patch.heightPx, this.step, this.#top, this.#height);
    const line = new Float32Array(this.#width);
    for (let y = rows.from; y < rows.to; y++) {
      const start = rows.first[y]! * this.#width;
      mixRows(line, this.#level, start, this.#width, rows.weights, 4 * y, weight);
      sampleRow(out, y * patch.widthPx, line, columns.first, columns.weights, columns.from, columns.to);
    }
  }

  #needed(patch: Patch, sunXPx: number, sunYPx: number, margin: number) {
    const marginX = margin * patch.widthPx;
    const marginY = margin * patch.heightPx;
    const clip = (value: number) => Math.min(this.#extent, Math.max(-this.#extent, value));
    return {
      left: clip(Math.floor((patch.xPx - sunXPx - marginX) / this.step) - 2),
      top: clip(Math.floor((patch.yPx - sunYPx - marginY) / this.step) - 2),
      right: clip(Math.ceil((patch.xPx + patch.widthPx - sunXPx + marginX) / this.step) + 2),
      bottom: clip(Math.ceil((patch.yPx + patch.heightPx - sunYPx + marginY) / this.step) + 2),
    };
  }
}

function extentOf(geometry: ImageGeometry, step: number): number {
  return Math.ceil((geometry.sunRadiusPx + 4.5 * geometry.sigmaPx + geometry.pupilPx) / step) + 4;
}

interface Window {
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
}

function drawBlurred(
  surface: SunSurface,
  geometry: ImageGeometry,
  step: number,
  window: Window,
): Float32Array {
  const sigma = geometry.sigmaPx / step;
  const pupil = geometry.pupilPx / step;
  const border = Math.ceil(4 * sigma + pupil) + 2;
  const width = window.width + 2 * border;
  const height = window.height + 2 * border;
  let image = drawSharp(surface, geometry, step, {
    left: window.left - border,
    top: window.top - border,
    width,
    height,
  });
  if (pupil > 0) image = blurPupil(image, width, height, pupil, geometry.pupilHolePx / step);
  blurGaussian(image, width, height, sigma);
  const level = new Float32Array(window.width * window.height);
  for (let y = 0; y < window.height; y++) {
    const from = (y + border) * width + border;
    level.set(image.subarray(from, from + window.width), y * window.width);
  }
  return level;
}

/** Samples of the unblurred disc; near the limb each is the mean over its cell. */
function drawSharp(surface: SunSurface, geometry: ImageGeometry, step: number, window: Window): Float32Array {
  const { ux, uy, vx, vy } = discFromPx(geometry);
  const image = new Float32Array(window.width * window.height);
  const limbCells = (3 * step) / geometry.sunRadiusPx;
  const blurArcsec = geometry.arcsecPerPx * step * 1.5;
  for (let j = 0; j < window.height; j++) {
    const dy = (window.top + j) * step;
    for (let i = 0; i < window.width; i++) {
      const dx = (window.left + i) * step;
      const u = ux * dx + uy * dy;
      const v = vx * dx + vy * dy;
      const r = Math.sqrt(u * u + v * v);
      if (r > 1 + limbCells) continue;
      const smooth =
        r > 1 - limbCells ? cellMean(surface, geometry, dx, dy, step) : surface.smoothLevel(u, v);
      if (smooth === 0) continue;
      const inward = r >= 0.9999 ? 0.9999 / r : 1;
      image[j * window.width + i] = smooth * surface.structure(u * inward, v * inward, blurArcsec);
    }
  }
  return image;
}

function cellMean(
  surface: SunSurface,
  geometry: ImageGeometry,
  dx: number,
  dy: number,
  step: number,
): number {
  const scale = 1 / geometry.sunRadiusPx;
  let sum = 0;
  for (let k = 0; k < 64; k++) {
    const x = dx + step * (((k & 7) + 0.5) / 8 - 0.5);
    const y = dy + step * (((k >> 3) + 0.5) / 8 - 0.5);
    sum += surface.smoothLevel(x * scale, y * scale);
  }
  return sum / 64;
}

interface Taps {
  /** Pixels from … to - 1 lie wholly on the plane. */
  readonly from: number;
  readonly to: number;
  /** First of the four samples of each pixel. */
  readonly first: Int32Array;
  readonly weights: Float32Array;
}

function cubicTaps(offsetPx: number, count: number, step: number, start: number, samples: number): Taps {
  const first = new Int32Array(count);
  const weights = new Float32Array(4 * count);
  let from = count;
  let to = 0;
  for (let p = 0; p < count; p++) {
    const at = (offsetPx + p) / step - start;
    const base = Math.floor(at);
    if (base < 1 || base + 2 >= samples) continue;
    from = Math.min(from, p);
    to = p + 1;
    const t = at - base;
    first[p] = base - 1;
    weights[4 * p] = t * (-0.5 + t * (1 - 0.5 * t));
    weights[4 * p + 1] = 1 + t * t * (-2.5 + 1.5 * t);
    weights[4 * p + 2] = t * (0.5 + t * (2 - 1.5 * t));
    weights[4 * p + 3] = t * t * (-0.5 + 0.5 * t);
  }
  return { from, to, first, weights };
}

function mixRows(
  line: Float32Array,
  plane: Float32Array,
  start: number,
  width: number,
  weights: Float32Array,
  w: number,
  scale: number,
): void {
  const w0 = weights[w]! * scale;
  const w1 = weights[w + 1]! * scale;
  const w2 = weights[w + 2]! * scale;
  const w3 = weights[w + 3]! * scale;
  for (let i = 0, a = start; i < width; i++, a++) {
    line[i] =
      w0 * plane[a]! + w1 * plane[a + width]! + w2 * plane[a + 2 * width]! + w3 * plane[a + 3 * width]!;
  }
}

function sampleRow(
  out: Float32Array,
  start: number,
  line: Float32Array,
  first: Int32Array,
  weights: Float32Array,
  from: number,
  to: number,
): void {
  for (let x = from; x < to; x++) {
    const a = first[x]!;
    const w = 4 * x;
    const value =
      weights[w]! * line[a]! +
      weights[w + 1]! * line[a + 1]! +
      weights[w + 2]! * line[a + 2]! +
      weights[w + 3]! * line[a + 3]!;
    if (value > 0) out[start + x]! += value; // the cubic undershoots a little outside a sharp limb
  }
}
