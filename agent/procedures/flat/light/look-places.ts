/** A cross of nine, in arms' lengths across the frame and down: the centre first, then round so that the way is short. */
export const lookPlaces: readonly (readonly [x: number, y: number])[] = [
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

/** Length of an arm, a fraction of the frame's short side. */
export const armFraction = 0.25;
