import type { SceneSpec } from "../spec/scene-spec.ts";
import { FrameNoise } from "./frame-noise.ts";

/**
 * What the read-out adds to whole rows of one frame [codes]: rows that wander each by its own, and bands, as
 * interference leaves them, whose phase is another in every frame.
 * @returns `undefined` for a camera without
 */
export function rowOffsets(
  spec: SceneSpec,
  frameNumber: number,
): ((rowOnSensor: number) => number) | undefined {
  const { rowWanderCodes = 0, banding } = spec.camera;
  if (rowWanderCodes === 0 && !banding) return undefined;
  const noise = new FrameNoise(spec.seed, frameNumber, 2);
  const phase = 2 * Math.PI * noise.uniform();
  const bands = banding && { amplitude: banding.amplitudeCodes, turn: (2 * Math.PI) / banding.periodRows };
  return (row) =>
    rowWanderCodes * noise.gauss() + (bands ? bands.amplitude * Math.sin(bands.turn * row + phase) : 0);
}
