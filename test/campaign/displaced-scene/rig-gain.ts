import type { Random } from "../../../drivers/kit/random.ts";

/** A rig's pattern: vignetting, bright patch, gradient, dust rings, ripple, pixel and column noise. */
export function rigGain(random: Random, side: number): Float64Array {
  const gain = new Float64Array(side * side);
  const half = side / Math.SQRT2;
  const columns = Float64Array.from({ length: side }, () => 1 + 0.003 * random.gauss());
  const rings = Array.from({ length: 16 }, () => ({
    x: random.between(0, side),
    y: random.between(0, side),
    radiusPx: random.between(7, 34),
    depth: random.between(0.02, 0.1),
  }));
  const ripple = { turn: random.between(0, Math.PI), phase: random.between(0, 6) };
  const [c, s] = [Math.cos(ripple.turn), Math.sin(ripple.turn)];
  for (let y = 0; y < side; y++) {
    for (let x = 0; x < side; x++) {
      const r = Math.hypot(x - 0.54 * side, y - 0.47 * side) / half;
      let g = 1 - 0.2 * r * r - 0.02 * r ** 4;
      g *= 1 + 0.06 * Math.exp(-0.5 * (((x - 0.35 * side) / 60) ** 2 + ((y - 0.6 * side) / 45) ** 2));
      g *= 1 + 0.03 * (x / side - 0.5) * 0.8 - 0.03 * (y / side - 0.5) * 0.6;
      g *= 1 + 0.01 * Math.sin((2 * Math.PI * (x * c + y * s)) / 23 + ripple.phase);
      for (const ring of rings) {
        const d = Math.hypot(x - ring.x, y - ring.y);
        if (d > ring.radiusPx + 12) continue;
        const shadow = 1 / (1 + Math.exp(d - ring.radiusPx)) - 0.8 / (1 + Math.exp(d - 0.35 * ring.radiusPx));
        g *= 1 - ring.depth * shadow;
      }
      gain[y * side + x] = g * columns[x]! * (1 + 0.008 * random.gauss());
    }
  }
  return gain;
}
