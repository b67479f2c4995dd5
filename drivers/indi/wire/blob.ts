/** One BLOB as it came. `bytes` are the caller's own from here on. */
export interface IndiBlob {
  readonly device: string;
  /** Of the property, `CCD1` for example. */
  readonly name: string;
  readonly element: string;
  /** As sent, without a trailing `.z`: those have been inflated. `.fits`, `.bin`, `.fits.fz`, `.stream`, … */
  readonly format: string;
  readonly bytes: Uint8Array;
  /** State of the BLOB's property as sent with it. */
  readonly state: "Idle" | "Ok" | "Busy" | "Alert" | undefined;
  /** The device's own time stamp, UTC, whole seconds: too coarse for ordering. */
  readonly timestamp: string | undefined;
  /** Place of its first byte in the order in which everything arrived; compares with `PropertyVector.revision`. */
  readonly startedRevision: number;
}
