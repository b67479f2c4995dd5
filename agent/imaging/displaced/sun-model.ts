import { brightnessAtRadius, type LimbDarkening } from "../disc/limb-darkening.ts";
import { fillInto } from "../numerics/map-into.ts";
import { noLog } from "./frame-logs.ts";
import type { ObjectGrid } from "./object-grid.ts";

/** Centre in frame coordinates [px]. */
export interface DiscPx {
  readonly x: number;
  readonly y: number;
  readonly radiusPx: number;
}

/** Beyond this share of the radius neither limb darkening nor a shifted limb can be trusted. */
const usableRadii = 0.93;

/** Logarithm of the darkened disc over its centre on the object's grid; beyond the usable radius it stays as there. */
export function fillSunModel(
  model: Float32Array,
  grid: ObjectGrid,
  disc: DiscPx,
  darkening: LimbDarkening,
): void {
  // Tabulated over the square of the radius: a logarithm and a polynomial for each pixel would take longer than a sweep.
  const steps = 4096;
  const most = usableRadii ** 2;
  const table = fillInto(new Float32Array(steps + 2), (k) =>
    Math.log(brightnessAtRadius(darkening, Math.sqrt((Math.min(k, steps) / steps) * most))),
  );
  const perStep = steps / (most * disc.radiusPx ** 2);
  for (let y = 0; y < grid.heightPx; y++) {
    const dy2 = (y - grid.originY - disc.y) ** 2;
    for (let x = 0; x < grid.widthPx; x++) {
      const place = Math.min(steps, ((x - grid.originX - disc.x) ** 2 + dy2) * perStep);
      const k = Math.floor(place);
      model[y * grid.widthPx + x] = table[k]! + (table[k + 1]! - table[k]!) * (place - k);
    }
  }
}

/** Leaves out what lies near or beyond the limb. @returns whether there was any */
export function maskLimb(
  logs: Int16Array,
  shape: { readonly widthPx: number; readonly heightPx: number },
  disc: DiscPx,
): boolean {
  const most = (usableRadii * disc.radiusPx) ** 2;
  let masked = false;
  for (let y = 0; y < shape.heightPx; y++) {
    const half = Math.sqrt(Math.max(0, most - (y - disc.y) ** 2));
    const left = Math.max(0, Math.ceil(disc.x - half));
    const right = Math.min(shape.widthPx, Math.floor(disc.x + half) + 1);
    const start = y * shape.widthPx;
    if (left >= right) {
      logs.fill(noLog, start, start + shape.widthPx);
      masked = true;
      continue;
    }
    if (left > 0 || right < shape.widthPx) masked = true;
    logs.fill(noLog, start, start + left);
    logs.fill(noLog, start + right, start + shape.widthPx);
  }
  return masked;
}
