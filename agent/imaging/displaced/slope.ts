/** Change of a logarithm per pixel, with one sigma. */
export interface Slope {
  readonly x: number;
  readonly y: number;
  readonly xSigma: number;
  readonly ySigma: number;
}
