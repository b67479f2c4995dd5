/**
 * How much noisier a stack of images gets by a flat, over a perfect one: sqrt(1 + M/N), where every point of the sky
 * stays on one pixel; wandering images fare better. Source: variances of independent means add.
 * @param flatsPerImage frames of the flat (N) over frames of the stack (M)
 */
export function stackNoiseFactor(flatsPerImage: number): number {
  return Math.sqrt(1 + 1 / flatsPerImage);
}
