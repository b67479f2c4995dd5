/** Size of a row-major picture. */
export interface Shape {
  readonly widthPx: number;
  readonly heightPx: number;
}

/** @throws RangeError if the array does not fit the shape */
export function checkShape(pixels: { readonly length: number }, shape: Shape): void {
  if (pixels.length !== shape.widthPx * shape.heightPx)
    throw new RangeError(`${pixels.length} pixels are not ${shape.widthPx} x ${shape.heightPx}`);
}
