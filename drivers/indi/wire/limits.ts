/** What one server may make us hold. More of it is an error, never more memory. */
export interface StreamLimits {
  /** One element without its BLOB text, tags and text together [bytes]. */
  readonly elementBytesMax: number;
  /** One tag with its attributes [bytes]. */
  readonly tagBytesMax: number;
  /** One attribute's value [bytes]. */
  readonly attributeBytesMax: number;
  readonly depthMax: number;
  /** One BLOB, decoded and inflated [bytes]. */
  readonly blobBytesMax: number;
}

/** Far above what servers send (names to 63, messages to 255 bytes); BLOBs up to a 16k x 16k sensor of 16 bits. */
export const defaultLimits: StreamLimits = {
  elementBytesMax: 4 * 2 ** 20,
  tagBytesMax: 64 * 1024,
  attributeBytesMax: 16 * 1024,
  depthMax: 8,
  blobBytesMax: 640 * 2 ** 20,
};
