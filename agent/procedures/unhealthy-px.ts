import type { StepFindings } from "./findings.ts";

/** The run's unhealthy pixels (1 in the map) for a frame of so many; `undefined` when none of that size are known. */
export function readUnhealthyPixels(
  { findings }: { readonly findings: StepFindings },
  pxCount: number,
): Uint8Array | undefined {
  const { unhealthyPx } = findings;
  return unhealthyPx?.length === pxCount ? unhealthyPx : undefined;
}
