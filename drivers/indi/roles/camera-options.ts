/** What the rig file may say of a camera. */
export interface CameraOptions {
  /** `PROPERTY.ELEMENT` where the driver keeps the gain, if it cannot be found by itself. */
  readonly gainProperty?: string;
  readonly offsetProperty?: string;
  readonly captureFormat?: string;
  /** Highest code of a pixel word, if the driver's own account is wrong. */
  readonly fullScaleAdu?: number;
  /** Longest time from the end of an exposure to its last byte here [s]. Default 30. */
  readonly readoutSeconds?: number;
  /** The property that delivers the images. Default CCD1. */
  readonly imageProperty?: string;
}

/** How images come: asked for once, and whether their order among the states is certain. */
export interface ImageRoute {
  enable(property: string): Promise<void>;
  readonly ordered: boolean;
}
