import { fillInto, mapInto } from "../numerics/map-into.ts";
import type { Shape } from "../numerics/shape.ts";
import { lookSidePx, type SkyObservation } from "./look-levels.ts";

export interface LeftoverScale {
  readonly sidePx: number;
  /** Rms of what moves with the Sun and is not in its model, a share of the level; noise is not in it. */
  readonly rms: number;
  readonly sigma: number;
}

const scales = [1, 2, 4, 8, 16] as const;

/**
 * Structure that looks from different pointings do not share: the Sun's. What is the rig's is the same in every look
 * and falls out with the mean of all; noise falls out because both halves of a look must show the structure.
 * @param light logarithm of the light's model in a block of a look, by its middle; NaN where it is not to be used
 */
export function leftoverByScale(
  shape: Shape,
  looks: readonly SkyObservation[],
  light: (look: SkyObservation, middle: { x: number; y: number }) => number,
): LeftoverScale[] {
  const side = lookSidePx(shape);
  const columns = Math.ceil(shape.widthPx / side);
  const rows = Math.ceil(shape.heightPx / side);
  const residuals = looks.map((look) => {
    const model = fillInto(new Float32Array(columns * rows), (b) =>
      light(look, {
        x: ((b % columns) + 0.5) * side - 0.5,
        y: (Math.floor(b / columns) + 0.5) * side - 0.5,
      }),
    );
    const overModel = (levels: Float32Array) =>
      mapInto(
        new Float32Array(model.length),
        levels,
        (level, b) => (level > 0 ? Math.log(level) : Number.NaN) - model[b]!,
      );
    return [overModel(look.first), overModel(look.second)] as const;
  });
  for (const half of [0, 1] as const) takeMeanOff(residuals.map((pair) => pair[half]));
  return scales
    .filter((times) => 4 * times <= Math.min(columns, rows))
    .map((times) => {
      const parts = residuals.map(([a, b]) => blockProducts(a, b, columns, rows, times));
      const blocks = parts.reduce((sum, part) => sum + part.blocks, 0);
      // The mean of all looks took a share of each one's own structure with it.
      const kept = 1 - 1 / looks.length;
      const variance = parts.reduce((sum, part) => sum + part.product, 0) / Math.max(1, blocks) / kept;
      const squares = parts.reduce((sum, part) => sum + part.squares, 0) / Math.max(1, blocks);
      const varianceSigma = Math.sqrt(squares / Math.max(1, blocks)) / kept;
      const rms = Math.sqrt(Math.max(0, variance));
      return {
        sidePx: times * side,
        rms,
        sigma: varianceSigma / (2 * Math.max(rms, Math.sqrt(varianceSigma))),
      };
    });
}

/** Each block's mean over the looks that can use it, then each look's own mean. */
function takeMeanOff(pictures: readonly Float32Array[]): void {
  const blocks = pictures[0]?.length ?? 0;
  for (let b = 0; b < blocks; b++) {
    let [sum, count] = [0, 0];
    for (const picture of pictures) {
      if (Number.isNaN(picture[b]!)) continue;
      sum += picture[b]!;
      count++;
    }
    for (const picture of pictures) picture[b]! -= count > 1 ? sum / count : Number.NaN;
  }
}

function blockProducts(a: Float32Array, b: Float32Array, columns: number, rows: number, times: number) {
  const valuesA: number[] = [];
  const valuesB: number[] = [];
  for (let y0 = 0; y0 + times <= rows; y0 += times)
    for (let x0 = 0; x0 + times <= columns; x0 += times) {
      let [sumA, sumB, count] = [0, 0, 0];
      for (let y = y0; y < y0 + times; y++)
        for (let i = y * columns + x0; i < y * columns + x0 + times; i++) {
          if (Number.isNaN(a[i]!) || Number.isNaN(b[i]!)) continue;
          sumA += a[i]!;
          sumB += b[i]!;
          count++;
        }
      if (count < 0.75 * times * times) continue;
      valuesA.push(sumA / count);
      valuesB.push(sumB / count);
    }
  const meanA = meanOf(valuesA);
  const meanB = meanOf(valuesB);
  let [product, squares] = [0, 0];
  for (let k = 0; k < valuesA.length; k++) {
    const both = (valuesA[k]! - meanA) * (valuesB[k]! - meanB);
    product += both;
    squares += both * both;
  }
  return { product, squares, blocks: valuesA.length };
}

function meanOf(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / Math.max(1, values.length);
}
