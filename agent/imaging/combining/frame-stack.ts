/** A stack of frames of one size, read piece by piece, so that memory does not grow with their number. */
export interface FrameStack {
  readonly frameCount: number;
  readonly pxCount: number;
  /**
   * Writes `into.length` pixels of a frame from `startPx` on, in physical units [adu], NaN (or infinite) where missing.
   * `into.set(uint16Pixels)` converts any number type at once; one array type here keeps the loops that follow fast.
   */
  readPixels(frameIndex: number, startPx: number, into: Float64Array): void;
}
