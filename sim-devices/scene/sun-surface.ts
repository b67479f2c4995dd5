import { limbDarkening, limbLevel } from "./limb-darkening.ts";
import { type GreyImage, readGreyPng } from "./read-surface.ts";
import type { SceneSpec } from "./scene-spec.ts";
import { TextureTile } from "./texture-tile.ts";

type SunSpec = SceneSpec["sun"];

/** Texture is that of a disc of this radius: the Sun's cells do not grow when it comes closer. */
const RADIUS_ARCSEC = 959.23;

/**
 * The Sun's brightness over its disc, 1 at the centre of the quiet disc.
 * Coordinates on the unit disc: u towards solar west, v towards solar north.
 */
export class SunSurface {
  readonly #darkening: ReturnType<typeof limbDarkening>;
  readonly #texture: TextureTile;
  readonly #image: { grey: GreyImage; median: number } | undefined;

  constructor(readonly spec: SceneSpec) {
    this.#darkening = limbDarkening(spec.optics.wavelengthNm);
    this.#texture = new TextureTile(spec.seed);
    if (spec.sun.image) {
      const grey = readGreyPng(spec.sun.image.file);
      this.#image = { grey, median: discMedian(grey, spec.sun.image) };
    }
  }

  /** The smooth disc: limb darkening alone; 0 outside. */
  smoothLevel(u: number, v: number): number {
    const r2 = u * u + v * v;
    return r2 >= 1 ? 0 : limbLevel(this.#darkening, Math.sqrt(1 - r2));
  }

  /**
   * All that is on the surface, as a factor on the smooth disc.
   * @param blurArcsec finer texture than this is not there: it would turn into noise between samples
   */
  structure(u: number, v: number, blurArcsec: number): number {
    const { sun } = this.spec;
    if (this.#image && sun.image)
      return this.#imageLevel(sun.image, this.#image.grey, this.#image.median, u, v);
    const mu = Math.sqrt(Math.max(0, 1 - u * u - v * v));
    const x = u * RADIUS_ARCSEC;
    const y = v * RADIUS_ARCSEC;
    let level = 1;
    for (const [index, layer] of [sun.granulation, sun.network].entries()) {
      if (layer.rms === 0) continue;
      const cell = Math.max(layer.scaleArcsec, blurArcsec);
      const rms = layer.rms * (layer.scaleArcsec / cell) * (0.3 + 0.7 * mu); // fades towards the limb
      level *= Math.max(0.05, 1 + rms * this.#texture.at(x / cell + 19.7 * index, y / cell));
    }
    for (const spot of sun.spots)
      level *= 1 - spot.depth * spotShade(distanceRadii(u, v, mu, spot.at), spot.radiusArcsec);
    for (const plage of sun.plages) {
      const d = (distanceRadii(u, v, mu, plage.at) * RADIUS_ARCSEC) / plage.radiusArcsec;
      if (d > 3) continue;
      const ragged =
        1 + 0.5 * this.#texture.at((2 * x) / plage.radiusArcsec + 7, (2 * y) / plage.radiusArcsec);
      level *= 1 + plage.excess * Math.max(0, ragged) * Math.exp(-0.5 * (1.5 * d) ** 2);
    }
    for (const filament of sun.filaments) level *= 1 - filament.depth * filamentShade(u, v, filament);
    return level;
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

/** Chord between two places on the sphere [solar radii]. */
function distanceRadii(u: number, v: number, mu: number, at: { u: number; v: number }): number {
  const atMu = Math.sqrt(Math.max(0, 1 - at.u * at.u - at.v * at.v));
  return Math.hypot(u - at.u, v - at.v, mu - atMu);
}

/** Dark umbra to 0.45 of the radius, half-dark penumbra to the rim. */
function spotShade(distance: number, radiusArcsec: number): number {
  const d = (distance * RADIUS_ARCSEC) / radiusArcsec;
  if (d >= 1.1) return 0;
  const step = (edge: number) => Math.min(1, Math.max(0, (edge - d) / 0.15 + 0.5));
  return 0.6 * step(0.45) + 0.4 * step(1);
}

function filamentShade(u: number, v: number, filament: SunSpec["filaments"][number]): number {
  let nearest = Infinity;
  const { path } = filament;
  for (let i = 1; i < path.length; i++) {
    const a = path[i - 1]!;
    const b = path[i]!;
    const length2 = (b.u - a.u) ** 2 + (b.v - a.v) ** 2;
    const t =
      length2 === 0
        ? 0
        : Math.min(1, Math.max(0, ((u - a.u) * (b.u - a.u) + (v - a.v) * (b.v - a.v)) / length2));
    nearest = Math.min(nearest, Math.hypot(u - a.u - t * (b.u - a.u), v - a.v - t * (b.v - a.v)));
  }
  const d = (nearest * RADIUS_ARCSEC) / (filament.widthArcsec / 2);
  return d > 3 ? 0 : Math.exp(-0.5 * d * d * 1.4);
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
