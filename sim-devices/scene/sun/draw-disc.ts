import { blurGaussian, blurPupil } from "../optics/blur.ts";
import { discFromPx, type ImageGeometry } from "../optics/image-geometry.ts";
import type { SunSurface } from "./sun-surface.ts";

/** Part of a grid whose sample (0, 0) lies at the Sun's centre. */
interface Window {
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
}

/** The Sun as seeing, diffraction and focus blur it: levels of the window's samples, `step` pixels apart. */
export function drawDisc(
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
      image[j * window.width + i] =
        smooth * surface.structure(u * inward, v * inward, blurArcsec, geometry.sunAgeHours);
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
