import type { SceneSpec } from "../spec/scene-spec.ts";
import type { TextureTile } from "./texture-tile.ts";

type SunSpec = SceneSpec["sun"];

/** Sizes on the surface are those of a disc of this radius: a spot does not grow when the Sun comes closer. */
export const SUN_RADIUS_ARCSEC = 959.23;

/** Something on the disc that makes it darker or brighter by a factor; none farther than `reach` from (u, v). */
export interface SurfaceFeature {
  readonly u: number;
  readonly v: number;
  readonly reach: number;
  factor(u: number, v: number, mu: number): number;
}

export function surfaceFeatures(sun: SunSpec, texture: TextureTile): SurfaceFeature[] {
  return [
    ...sun.spots.map(spotFeature),
    ...sun.plages.map((plage) => plageFeature(plage, texture)),
    ...sun.filaments.map((filament) => filamentFeature(filament, texture)),
  ];
}

/** Dark umbra to 0.45 of the radius, half-dark penumbra to the rim. */
function spotFeature({ at, radiusArcsec, depth }: SunSpec["spots"][number]): SurfaceFeature {
  const radius = radiusArcsec / SUN_RADIUS_ARCSEC;
  const inside = (edge: number, d: number) => Math.min(1, Math.max(0, (edge - d) / 0.15 + 0.5));
  return {
    ...at,
    reach: 1.1 * radius,
    factor(u, v, mu) {
      const d = chord(u, v, mu, at) / radius;
      return 1 - depth * (0.6 * inside(0.45, d) + 0.4 * inside(1, d));
    },
  };
}

function plageFeature(
  { at, radiusArcsec, excess }: SunSpec["plages"][number],
  texture: TextureTile,
): SurfaceFeature {
  const radius = radiusArcsec / SUN_RADIUS_ARCSEC;
  return {
    ...at,
    reach: 2.4 * radius,
    factor(u, v, mu) {
      const d = chord(u, v, mu, at) / radius;
      const ragged = Math.max(0, 1 + 0.6 * texture.at((4 * u) / radius + 7, (4 * v) / radius));
      return 1 + excess * ragged * Math.exp(-0.5 * (1.5 * d) ** 2);
    },
  };
}

/** A dark thread along a smooth curve through the path's places, of uneven darkness. */
function filamentFeature(
  { path, widthArcsec, depth }: SunSpec["filaments"][number],
  texture: TextureTile,
): SurfaceFeature {
  const curve = smoothCurve(path);
  const half = widthArcsec / 2 / SUN_RADIUS_ARCSEC;
  const us = curve.map((place) => place.u);
  const vs = curve.map((place) => place.v);
  const middle = (values: number[]) => (Math.min(...values) + Math.max(...values)) / 2;
  const span = (values: number[]) => Math.max(...values) - Math.min(...values);
  return {
    u: middle(us),
    v: middle(vs),
    reach: Math.max(span(us), span(vs)) / 2 + 3 * half,
    factor(u, v) {
      const d = distanceToCurve(u, v, curve) / half;
      if (d > 3) return 1;
      const ragged = Math.min(1, Math.max(0.3, 0.8 + 0.3 * texture.at(u / half / 2 + 3, v / half / 2)));
      return 1 - depth * ragged * Math.exp(-0.7 * d * d);
    },
  };
}

/** Chord between a place on the sphere and another on the disc [solar radii]. */
function chord(u: number, v: number, mu: number, at: { u: number; v: number }): number {
  const atMu = Math.sqrt(Math.max(0, 1 - at.u * at.u - at.v * at.v));
  return Math.hypot(u - at.u, v - at.v, mu - atMu);
}

type Place = { readonly u: number; readonly v: number };

/** Catmull-Rom curve through the places, eight pieces between two of them. */
function smoothCurve(path: readonly Place[]): Place[] {
  const out: Place[] = [];
  for (let i = 0; i + 1 < path.length; i++) {
    const b = path[i]!;
    const c = path[i + 1]!;
    const a = path[i - 1] ?? b;
    const d = path[i + 2] ?? c;
    for (let k = 0; k < 8; k++) {
      const t = k / 8;
      const mix = (p: number, q: number, r: number, s: number) =>
        q + 0.5 * t * (r - p + t * (2 * p - 5 * q + 4 * r - s + t * (3 * (q - r) + s - p)));
      out.push({ u: mix(a.u, b.u, c.u, d.u), v: mix(a.v, b.v, c.v, d.v) });
    }
  }
  out.push(path.at(-1)!);
  return out;
}

function distanceToCurve(u: number, v: number, curve: readonly Place[]): number {
  let nearest2 = Infinity;
  for (let i = 1; i < curve.length; i++) {
    const a = curve[i - 1]!;
    const du = curve[i]!.u - a.u;
    const dv = curve[i]!.v - a.v;
    const length2 = du * du + dv * dv;
    const t = length2 === 0 ? 0 : Math.min(1, Math.max(0, ((u - a.u) * du + (v - a.v) * dv) / length2));
    nearest2 = Math.min(nearest2, (u - a.u - t * du) ** 2 + (v - a.v - t * dv) ** 2);
  }
  return Math.sqrt(nearest2);
}
