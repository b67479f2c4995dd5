/**
 * How the light falls towards the middle: a flat floor with a rim, the same with a bright middle, or a bell. The rim of a
 * round speck ends within its own width; where it is blurred (`soft`) it has tails.
 */
export type ShadowKind = "disc" | "ring" | "bell" | "softDisc" | "softRing";

export function isRing(kind: ShadowKind): boolean {
  return kind === "ring" || kind === "softRing";
}

/** What a shadow looks like, wherever it lies. */
export interface ShadowForm {
  readonly kind: ShadowKind;
  /** Where half of the depth is reached. */
  readonly radiusPx: number;
  /** Of the bright middle over that of the shadow; 0 without one. */
  readonly holeRatio: number;
  /** Width over which the rim falls: the size of the speck itself. */
  readonly edgePx: number;
}

/** How much of its full depth the shadow has at a distance from its centre. */
export function shadowAt(r: number, { kind, radiusPx, holeRatio, edgePx }: ShadowForm): number {
  return shadowProfile(kind, r, radiusPx, holeRatio, edgePx);
}

/** Of the full depth, where it is darkest: less than 1 where a ring's rims run together. */
export function darkestFraction(form: ShadowForm): number {
  return isRing(form.kind) ? shadowAt(((1 + form.holeRatio) / 2) * form.radiusPx, form) : shadowAt(0, form);
}

/** How far from its centre a shadow has ended [px]. */
export function shadowRadiusPx({ kind, radiusPx, edgePx }: Omit<ShadowForm, "holeRatio">): number {
  if (kind === "bell") return 3 * radiusPx;
  return radiusPx + (kind === "softDisc" || kind === "softRing" ? edgePx : edgePx / 2) + 0.5;
}

export function shadowProfile(
  kind: ShadowKind,
  r: number,
  radius: number,
  holeRatio: number,
  edge: number,
): number {
  if (kind === "bell") return Math.exp(-Math.LN2 * (r / radius) ** 2);
  const hole = holeRatio * radius;
  const rim = kind === "disc" || kind === "ring" ? rise : softRise;
  return rim((radius - r) / edge + 0.5) - (hole > 0.5 ? rim((hole - r) / edge + 0.5) : 0);
}

function rise(t: number): number {
  if (t <= 0) return 0;
  return t >= 1 ? 1 : t * t * (3 - 2 * t);
}

/** As steep in the middle as the other, with the tails of a Gaussian blur. */
const softness = 1.5 * Math.sqrt(2 * Math.PI);

function softRise(t: number): number {
  const z = softness * (t - 0.5);
  return normalShare(z, bellAt(z));
}

function bellAt(z: number): number {
  return Math.exp(-0.5 * z * z);
}

/** Share below z, to 1e-7: Abramowitz & Stegun 26.2.17. */
function normalShare(z: number, bell: number): number {
  const t = 1 / (1 + 0.2316419 * Math.abs(z));
  const sum =
    t * (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  const tail = (sum * bell) / Math.sqrt(2 * Math.PI);
  return z < 0 ? tail : 1 - tail;
}

/**
 * @param p at 2, 3, 4: radius [px], hole ratio, edge [px]
 * @param by filled in: the profile's derivatives by r (at 0) and by those (at 2, 3, 4); what is at 1 is written over
 * @returns the profile
 */
export function profileDerivatives(kind: ShadowKind, r: number, p: Float64Array, by: Float64Array): number {
  const radius = p[2]!;
  const holeRatio = p[3]!;
  const edge = p[4]!;
  by[3] = 0;
  if (kind === "bell") {
    const shade = shadowProfile(kind, r, radius, holeRatio, edge);
    by[0] = (-2 * Math.LN2 * r * shade) / (radius * radius);
    by[2] = (2 * Math.LN2 * r * r * shade) / radius ** 3;
    by[4] = 0;
    return shade;
  }
  const isSoft = kind === "softDisc" || kind === "softRing";
  const outer = rimAt(isSoft, (radius - r) / edge + 0.5, by) / edge;
  const shade = by[1]!;
  by[0] = -outer;
  by[2] = outer;
  by[4] = (-outer * (radius - r)) / edge;
  const hole = holeRatio * radius;
  if (hole <= 0.5) return shade;
  const inner = rimAt(isSoft, (hole - r) / edge + 0.5, by) / edge;
  by[0]! += inner;
  by[2]! -= inner * holeRatio;
  by[3] = -inner * radius;
  by[4]! += (inner * (hole - r)) / edge;
  return shade - by[1]!;
}

/** @returns the slope; the rise itself is put into `by` at 1 */
function rimAt(isSoft: boolean, t: number, by: Float64Array): number {
  if (!isSoft) {
    by[1] = rise(t);
    return t <= 0 || t >= 1 ? 0 : 6 * t * (1 - t);
  }
  const z = softness * (t - 0.5);
  const bell = bellAt(z);
  by[1] = normalShare(z, bell);
  return 1.5 * bell;
}
