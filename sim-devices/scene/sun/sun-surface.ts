import type { SceneSpec } from "../spec/scene-spec.ts";
import { limbDarkening, limbLevel } from "./limb-darkening.ts";
import { type GreyImage, readGreyPng } from "./read-surface.ts";
import { SUN_RADIUS_ARCSEC, type SurfaceFeature, surfaceFeatures } from "./surface-features.ts";
import { TextureTile } from "./texture-tile.ts";

type SunSpec = SceneSpec["sun"];

/**
 * The Sun's brightness over its disc, 1 at the centre of the quiet disc.
 * Coordinates on the unit disc: u towards solar west, v towards solar north.
 */
export class SunSurface {
  readonly #darkening: ReturnType<typeof limbDarkening>;
  #texture: TextureTile | undefined;
  readonly #features: readonly SurfaceFeature[];
  readonly #image: { grey: GreyImage; median: number } | undefined;

  constructor(readonly spec: SceneSpec) {
    this.#darkening = limbDarkening(spec.optics.wavelengthNm);
    const { spots, plages, filaments } = spec.sun;
    const hasFeatures = spots.length + plages.length + filaments.length > 0;
    this.#features = hasFeatures ? surfaceFeatures(spec.sun, this.#tile) : [];
    if (spec.sun.image) {
      const grey = readGreyPng(spec.sun.image.file);
      this.#image = { grey, median: discMedian(grey, spec.sun.image) };
    }
  }

  /** Drawn when it is first needed: a smooth Sun has none. */
  get #tile(): TextureTile {
    this.#texture ??= TextureTile.of(this.spec.seed);
    return this.#texture;
  }

  /** The smooth disc: limb darkening alone; 0 outside. */
  smoothLevel(u: number, v: number): number {
    const r2 = u * u + v * v;
    return r2 >= 1 ? 0 : limbLevel(this.#darkening, Math.sqrt(1 - r2));
  }

  /**
   * All that is on the surface, as a factor on the smooth disc.
   * @param blurArcsec finer texture than this is not there: it would turn into noise between samples
   * @param ageHours since it was as drawn: texture turns into another, spots grow or fade in turn
   */
  structure(u: number, v: number, blurArcsec: number, ageHours = 0): number {
    const { sun } = this.spec;
    if (this.#image && sun.image)
      return this.#imageLevel(sun.image, this.#image.grey, this.#image.median, u, v);
    const mu = Math.sqrt(Math.max(0, 1 - u * u - v * v));
    const x = u * SUN_RADIUS_ARCSEC;
    const y = v * SUN_RADIUS_ARCSEC;
    const changed = (sun.changePerHour ?? 0) * ageHours;
    let level = 1;
    for (const [index, layer] of [sun.granulation, sun.network].entries()) {
      if (layer.rms === 0) continue;
      const cell = Math.max(layer.scaleArcsec, blurArcsec);
      const rms = layer.rms * (layer.scaleArcsec / cell) * (0.3 + 0.7 * mu); // fades towards the limb
      const shape = this.#textureAt(x / cell + 19.7 * index, y / cell, changed);
      level *= Math.max(0.05, 1 + rms * shape);
    }
    for (const [index, feature] of this.#features.entries()) {
      if (Math.abs(u - feature.u) < feature.reach && Math.abs(v - feature.v) < feature.reach) {
        const factor = feature.factor(u, v, mu);
        level *=
          changed === 0 ? factor : 1 + (factor - 1) * Math.max(0, 1 + (index % 2 ? -changed : changed));
      }
    }
    return level;
  }

  #textureAt(x: number, y: number, changed: number): number {
    const drawn = this.#tile.at(x, y);
    if (changed === 0) return drawn;
    return Math.cos(changed) * drawn + Math.sin(changed) * this.#tile.at(x + 53.1, y + 87.7);
  }

  #imageLevel(
    image: NonNullable<SunSpec["image"]>,
    grey: GreyImage,
    median: number,
    u: number,
    v: number,
  ): number {
    const pole = (image.poleDegrees * Math.PI) / 180;
    // Solar west is right in an upright image; y counts down.
    const right = u * Math.cos(pole) - v * Math.sin(pole);
    const up = u * Math.sin(pole) + v * Math.cos(pole);
    const value = bilinear(
      grey,
      image.centreXPx + image.radiusPx * right,
      image.centreYPx - image.radiusPx * up,
    );
    return Math.min(4, Math.max(0.02, value / median) ** image.contrastPower);
  }
}

function bilinear(image: GreyImage, x: number, y: number): number {
  const cx = Math.min(image.widthPx - 1.001, Math.max(0, x));
  const cy = Math.min(image.heightPx - 1.001, Math.max(0, y));
  const x0 = Math.floor(cx);
  const y0 = Math.floor(cy);
  const fx = cx - x0;
  const fy = cy - y0;
  const i = y0 * image.widthPx + x0;
  const { levels, widthPx } = image;
  return (
    (1 - fy) * ((1 - fx) * levels[i]! + fx * levels[i + 1]!) +
    fy * ((1 - fx) * levels[i + widthPx]! + fx * levels[i + widthPx + 1]!)
  );
}

function discMedian(image: GreyImage, disc: NonNullable<SunSpec["image"]>): number {
  const inside: number[] = [];
  const reach = 0.9 * disc.radiusPx;
  for (let y = 0; y < image.heightPx; y += 2) {
    for (let x = 0; x < image.widthPx; x += 2) {
      if (Math.hypot(x - disc.centreXPx, y - disc.centreYPx) < reach)
        inside.push(image.levels[y * image.widthPx + x]!);
    }
  }
  inside.sort((a, b) => a - b);
  return Math.max(1e-3, inside[inside.length >> 1] ?? 1);
}
