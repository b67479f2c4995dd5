export type FrameType = "light" | "dark" | "bias" | "flat";

/** Part of the sensor [unbinned px]. */
export interface Region {
  readonly xPx: number;
  readonly yPx: number;
  readonly widthPx: number;
  readonly heightPx: number;
}

/** How the tube has moved against the camera since both were assembled; no device knows of it. */
export interface TrainSlip {
  /** On the sensor [unbinned px], x right, y down. */
  readonly xPx: number;
  readonly yPx: number;
  /** About the sensor's middle, from x towards y. */
  readonly degrees: number;
}

/** All that a picture depends on besides the scene itself, at the middle of the exposure. */
export interface LightPath {
  /** The Sun's centre as seen from the optical axis, on the sky [arcsec], east and north positive. */
  readonly sunEastArcsec: number;
  readonly sunNorthArcsec: number;
  /** How far the image moves on the sky during the exposure [arcsec]; smears the picture. */
  readonly smearEastArcsec: number;
  readonly smearNorthArcsec: number;
  readonly sunAltitudeDegrees: number;
  readonly sunSemidiameterArcsec: number;
  /** Position angle of the Sun's north pole [degrees, from sky north through east]. */
  readonly sunPoleDegrees: number;
  /** 0 closed … 1 open: the clear fraction of the aperture. */
  readonly coverOpenFraction: number;
  readonly diffuserInPlace: boolean;
  readonly focusSteps: number;
  /** Filter slot, from 1. */
  readonly wheelSlot: number;
  readonly rotatorDegrees: number;
  /** Left out: none. The Sun's own image is taken to be centred anew. */
  readonly slip?: TrainSlip;
  /** 1 is a clear sky; thin cloud is less. Air mass is not in it: the painter takes that from the altitude. */
  readonly transparency: number;
  /** How much more light comes from the right than from the left edge of the sensor, and from below than from above; a fraction. */
  readonly hazeGradient?: { readonly acrossX: number; readonly acrossY: number };
  /** Times the scene's seeing; left out, 1. */
  readonly seeingTimes?: number;
  /** Than the filters' passbands are given for; left out, 0. */
  readonly filterWarmerCelsius?: number;
  /** Since the scene's Sun was as drawn; left out, 0. */
  readonly sunAgeHours?: number;
}

export interface ExposureAsk {
  readonly seconds: number;
  readonly frameType: FrameType;
  /** The camera's own gain setting (0 is lowest) and offset setting. */
  readonly gain: number;
  readonly offset: number;
  readonly binning: number;
  readonly region: Region;
  readonly sensorCelsius: number;
  /** Counts every frame of the world's life; the noise of frame n is a function of the seed and n. */
  readonly frameNumber: number;
}
