export type LookPlace = readonly [x: number, y: number];

/** A cross of nine, in arms' lengths across the frame and down: the centre first, then round so that the way is short. */
export const lookPlaces: readonly LookPlace[] = [
  [0, 0],
  [0.5, 0],
  [1, 0],
  [0, 1],
  [0, 0.5],
  [-0.5, 0],
  [-1, 0],
  [0, -1],
  [0, -0.5],
];

/** The same cross turned by 45°: other places, for looks that a correction does not know. */
export const heldOutPlaces: readonly LookPlace[] = lookPlaces.map(([x, y]) => [
  (x - y) / Math.SQRT2,
  (x + y) / Math.SQRT2,
]);

/** Length of an arm, a fraction of the frame's short side. */
export const armFraction = 0.25;
