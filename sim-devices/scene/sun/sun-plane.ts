import type { ImageGeometry } from "../optics/image-geometry.ts";
import type { Region } from "../painter-contract.ts";
import { cubicTaps, mixRows, sampleRow } from "./cubic-sampling.ts";
import { drawDisc } from "./draw-disc.ts";
import type { SunSurface } from "./sun-surface.ts";

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
    patch: Region,
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
    this.#level = drawDisc(surface, geometry, this.step, {
      left: this.#left,
      top: this.#top,
      width: this.#width,
      height: this.#height,
    });
  }

  covers(patch: Region, sunXPx: number, sunYPx: number): boolean {
    const needed = this.#needed(patch, sunXPx, sunYPx, 0);
    const e = this.#extent;
    if (needed.left >= e || needed.top >= e || needed.right <= -e || needed.bottom <= -e) return true; // no Sun there
    return (
      needed.left >= this.#left &&
      needed.top >= this.#top &&
      needed.right < this.#left + this.#width &&
      needed.bottom < this.#top + this.#height
    );
  }

  /** Adds weight × the Sun's level to every pixel of the patch; cubic (Catmull-Rom) between samples. */
  addTo(out: Float32Array, patch: Region, sunXPx: number, sunYPx: number, weight: number): void {
    const columns = cubicTaps(patch.xPx - sunXPx, patch.widthPx, this.step, this.#left, this.#width);
    const rows = cubicTaps(patch.yPx - sunYPx, patch.heightPx, this.step, this.#top, this.#height);
    const line = new Float32Array(this.#width);
    for (let y = rows.from; y < rows.to; y++) {
      const start = rows.first[y]! * this.#width;
      mixRows(line, this.#level, start, this.#width, rows.weights, 4 * y, weight);
      sampleRow(out, y * patch.widthPx, line, columns.first, columns.weights, columns.from, columns.to);
    }
  }

  #needed(patch: Region, sunXPx: number, sunYPx: number, margin: number) {
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
