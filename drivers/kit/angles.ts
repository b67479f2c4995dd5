/** @returns [degrees] in [0, 360) */
export function wrapDegrees(angle: number): number {
  return ((angle % 360) + 360) % 360;
}

/** The short way from one direction to another. @returns [degrees] in [-180, 180) */
export function turnDegrees(from: number, to: number): number {
  return wrapDegrees(to - from + 180) - 180;
}
