/** The bytes are not FITS, or not whole. */
export class FitsError extends Error {
  readonly code = "FITS_UNREADABLE";
  override readonly name = "FitsError";
}
