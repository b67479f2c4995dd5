import type { Frame } from "../../../drivers/roles/camera.ts";
import { countCodes, countHealthyCodes } from "../../imaging/exposure/histogram.ts";
import { upperEdge } from "../../imaging/exposure/upper-edge.ts";
import { median } from "../../imaging/numerics/order-statistics.ts";
import type { Workbench } from "../step.ts";
import type { TunedExposure } from "../tune-exposure/tune-request.ts";
import { readUnhealthyPixels } from "../unhealthy-px.ts";
import type { FlatFound } from "./flat-request.ts";

/** A frame's upper edge over full scale, hot pixels left out. */
export function edgeFractionOf(bench: Workbench, tuned: TunedExposure, { pixelsAdu }: Frame): number {
  const unhealthyPx = readUnhealthyPixels(bench, pixelsAdu.length);
  const counts = unhealthyPx ? countHealthyCodes(pixelsAdu, unhealthyPx) : countCodes(pixelsAdu);
  return upperEdge(counts, { pedestalAdu: tuned.pedestalAdu, fullScaleAdu: tuned.topAdu })!.edgeFraction;
}

/** Of a series, which has frames. */
export function seriesEdgeFractions(fractions: readonly number[]): FlatFound["upperEdge"] {
  return { median: median(fractions)!, least: Math.min(...fractions), most: Math.max(...fractions) };
}
