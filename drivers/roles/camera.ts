import type { PlaneColour } from "./colour-mosaic.ts";
import type { Device, Range } from "./device.ts";

/** Unbinned sensor pixels. */
export interface Region {
  readonly xPx: number;
  readonly yPx: number;
  readonly widthPx: number;
  readonly heightPx: number;
}

export type FrameType = "light" | "dark" | "bias" | "flat";

/** How the camera is to be set up. What is left out stays as it is. */
export interface CameraSetup {
  readonly gain?: number;
  readonly offset?: number;
  readonly binning?: number;
  readonly region?: Region;
  readonly coolerCelsius?: number;
}

/** As the camera reads; what it does not have is 0. */
export type SetupInForce = Required<Omit<CameraSetup, "coolerCelsius">>;

export interface ExposureRequest {
  readonly exposureSeconds: number;
  readonly frameType: FrameType;
}

export interface Frame {
  /** Raw counts [adu], row-major, origin top left. */
  readonly pixelsAdu: Uint16Array;
  readonly widthPx: number;
  readonly heightPx: number;
  /** As the camera reports it, which may differ from what was asked. */
  readonly exposureSeconds: number;
  /** Start of the exposure, UTC milliseconds since the epoch, as the camera reports it. */
  readonly startedUtcMs: number;
  readonly frameType: FrameType;
  readonly gain?: number;
  readonly offset?: number;
  readonly sensorCelsius?: number;
}

/** Takes one exposure at a time. */
export interface Camera extends Device {
  readonly role: "camera";
  readonly limits: {
    readonly exposureSeconds: Range;
    readonly gain: Range | undefined;
    readonly offset: Range | undefined;
    readonly binning: Range;
    readonly sensorPx: { readonly widthPx: number; readonly heightPx: number };
    readonly pixelMicron: number;
    /** Its colours by row and column from the sensor's first pixel, such as `RGGB`; left out: monochrome, or it does not tell. */
    readonly colourFilterArray?: string;
    /** Its frames hold the pixels of that colour alone; left out: all of them. */
    readonly colour?: PlaneColour;
    /** Highest code that a pixel word can carry, from the bit depth that the camera declares. */
    readonly fullScaleAdu: number;
  };
  /** Reads the set-up in force; changes nothing. */
  setup(signal: AbortSignal): Promise<SetupInForce>;
  /**
   * Sets what is given, in the order that the device needs, reads it back and returns the whole set-up in force.
   * @throws OutOfLimitsError before anything happens on the rig; ReadbackError, DeviceLostError, DeadlineError
   */
  configure(setup: CameraSetup, signal: AbortSignal): Promise<SetupInForce>;
  /**
   * Exposes once and reads the frame out.
   * Abort: stops the device, waits until it is idle, rejects with `signal.reason`; no frame.
   * @throws OutOfLimitsError before anything happens on the rig
   * @throws DeviceLostError, DeadlineError (exposureSeconds + readout budget)
   */
  expose(request: ExposureRequest, signal: AbortSignal): Promise<Frame>;
  /**
   * Hands a frame's memory back, which makes the next one quicker. Never needed; its pixels are gone for everybody
   * (an empty array), so only whoever keeps the frame may do it.
   */
  giveBack(pixelsAdu: Uint16Array): void;
  /** Leaves the camera idle. This is what cleanup calls. */
  ensureStopped(signal: AbortSignal): Promise<void>;
  /** Aborts the exposure, as `Cover.sendClose` closes: at once, unasked. An exposure of ours is given up and not repeated. */
  sendStop(signal: AbortSignal): Promise<void>;
}

/** A camera whose sensor temperature can be read, and perhaps held. */
export interface CooledCamera extends Camera {
  readonly cooler: {
    sensorCelsius(signal: AbortSignal): Promise<number | undefined>;
    readonly canHold: boolean;
  };
}

export function hasCooler(camera: Camera): camera is CooledCamera {
  return "cooler" in camera && camera.cooler !== undefined;
}

/** A camera whose driver says how many electrons a count stands for. Its word, not a measurement. */
export interface CameraWithConversion extends Camera {
  /** At the gain in force [e-/adu]; `undefined` when it does not say now. */
  electronsPerAdu(signal: AbortSignal): Promise<number | undefined>;
}

export function statesConversion(camera: Camera): camera is CameraWithConversion {
  return "electronsPerAdu" in camera;
}
