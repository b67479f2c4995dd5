import type { Frame } from "../../../drivers/roles/camera.ts";
import { countCodes, countHealthyCodes } from "../../imaging/exposure/histogram.ts";
import { upperEdge } from "../../imaging/exposure/upper-edge.ts";
import type { Workbench } from "../step.ts";
import type { Tuned } from "../tune-exposure/tune-ask.ts";

/** A frame's upper edge over full scale, hot pixels left out. */
export function edgeFractionOf({ findings }: Workbench, tuned: Tuned, { pixelsAdu }: Frame): number {
  const { unhealthyPx } = findings;
  const healthy = unhealthyPx?.length === pixelsAdu.length ? unhealthyPx : undefined;
  const counts = healthy ? countHealthyCodes(pixelsAdu, healthy) : countCodes(pixelsAdu);
  return upperEdge(counts, { pedestalAdu: tuned.pedestalAdu, fullScaleAdu: tuned.topAdu })!.edgeFraction;
}
