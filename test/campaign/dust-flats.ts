import type { Flat } from "../../agent/imaging/combining/normalise-flat.ts";
import { Random } from "../../drivers/kit/random.ts";
import { smoothSurface } from "../../sim-devices/scene/optics/smooth-surface.ts";
import { ScenePainter } from "../../sim-devices/scene/painter.ts";
import { drawScene } from "../../sim-devices/scene/spec/draw-scene.ts";

export interface TrueShadow {
  readonly xPx: number;
  readonly yPx: number;
  /** Between the points of half depth. */
  readonly diameterPx: number;
  readonly depth: number;
  readonly kind: "disc" | "ring" | "gaussian";
  /** Width over which the rim falls; nothing to a Gaussian. */
  readonly edgePx: number;
  /** Of the bright middle over the diameter; 0 without one. */
  readonly holeRatio: number;
}

export interface DustyFlat {
  readonly name: string;
  readonly flat: Flat;
  readonly shadows: readonly TrueShadow[];
  /** Scatter of a pixel about the smooth picture, noise and sensor together; a share of the level. */
  readonly sigma: number;
  /** How much of its depth a shadow has at a distance from its middle. */
  readonly shade: (shadow: TrueShadow, rPx: number) => number;
}

/** A drawn scene's true pattern with the noise of a master. */
export function sceneFlat(sceneSeed: number): DustyFlat {
  const spec = drawScene(sceneSeed);
  const truth = new ScenePainter(spec).truth();
  const random = new Random(sceneSeed).fork("master");
  const noise = 10 ** random.between(-3.3, -2.5);
  const gain = truth.flat.map((level) => level * (1 + noise * random.gauss()));
  const { pixelResponseSd, columnResponseSd } = spec.camera;
  return {
    name: `scene ${sceneSeed}`,
    flat: {
      shape: { widthPx: truth.widthPx, heightPx: truth.heightPx },
      gain,
      sigma: gain.map((level) => noise * level),
      mask: truth.defects.map((defect) => (defect === 2 ? 1 : 0)),
      levelAdu: 50_000,
    },
    shadows: truth.dust.map((shadow) => ({
      ...shadow,
      kind: shadow.holePx > 0 ? "ring" : "disc",
      holeRatio: shadow.holePx / shadow.diameterPx,
    })),
    sigma: Math.hypot(noise, pixelResponseSd, columnResponseSd),
    shade: (shadow, rPx) => shadeWith(cubicRim, shadow, rPx),
  };
}

/** Discs, rings and Gaussians of many sizes on vignetting and a smooth random surface; overlaps and edges as they fall. */
export function drawnFlat(seed: number): DustyFlat {
  const random = new Random(seed).fork("drawn dust");
  const [widthPx, heightPx] = [480, 360];
  const noise = 10 ** random.between(-3, -2.2);
  const surface = smoothSurface(random.fork("surface"), random.between(250, 500));
  const [vignetting, uneven] = [random.between(0, 0.3), random.between(0, 0.02)];
  const shadows = Array.from({ length: random.whole(3, 12) }, (): TrueShadow => {
    const diameterPx = 10 ** random.between(0.95, 1.95);
    const kind = random.pick(["disc", "ring", "gaussian"] as const);
    return {
      xPx: random.between(0, widthPx),
      yPx: random.between(0, heightPx),
      diameterPx,
      depth: Math.min(0.3, 3 * noise * 10 ** random.between(0, 1)),
      kind,
      edgePx: diameterPx * random.between(0.1, 0.4),
      holeRatio: random.between(0.25, 0.5),
    };
  });
  const gain = Float32Array.from({ length: widthPx * heightPx }, (_, i) => {
    const [x, y] = [i % widthPx, Math.floor(i / widthPx)];
    const [u, v] = [x - widthPx / 2, y - heightPx / 2];
    let level = (1 - (vignetting * (u * u + v * v)) / (240 ** 2 + 180 ** 2)) * (1 + uneven * surface(u, v));
    for (const shadow of shadows)
      level *= 1 - shadow.depth * shadeWith(tanhRim, shadow, Math.hypot(x - shadow.xPx, y - shadow.yPx));
    return level * (1 + noise * random.gauss());
  });
  return {
    name: `drawn ${seed}`,
    flat: {
      shape: { widthPx, heightPx },
      gain,
      sigma: gain.map((level) => noise * level),
      mask: new Uint8Array(gain.length),
      levelAdu: 50_000,
    },
    shadows,
    sigma: noise,
    shade: (shadow, rPx) => shadeWith(tanhRim, shadow, rPx),
  };
}

type Rim = (insidePx: number, edgePx: number) => number;

const tanhRim: Rim = (insidePx, edgePx) => 0.5 * (1 + Math.tanh((2 * insidePx) / edgePx));

/** That of the scenes. */
const cubicRim: Rim = (insidePx, edgePx) => {
  const t = Math.min(1, Math.max(0, insidePx / edgePx + 0.5));
  return t * t * (3 - 2 * t);
};

function shadeWith(rim: Rim, { kind, diameterPx, edgePx, holeRatio }: TrueShadow, r: number): number {
  if (kind === "gaussian") return Math.exp(-4 * Math.LN2 * (r / diameterPx) ** 2);
  const hole = kind === "ring" ? rim((holeRatio * diameterPx) / 2 - r, edgePx) : 0;
  return rim(diameterPx / 2 - r, edgePx) - hole;
}
