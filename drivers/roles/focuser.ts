import type { Device, Range } from "./device.ts";

export interface Focuser extends Device {
  readonly role: "focuser";
  readonly limits: { readonly positionSteps: Range };
  positionSteps(signal: AbortSignal): Promise<number>;
  /** Arrived means the readback equals the target. @throws OutOfLimitsError before anything moves */
  moveTo(positionSteps: number, signal: AbortSignal): Promise<void>;
  ensureStopped(signal: AbortSignal): Promise<void>;
}

/** What a rig file may say of a focuser where the driver does not. */
export interface FocuserOptions {
  /** The slowest that the focuser moves, for its deadlines. Default 100. */
  readonly stepsPerSecondMin?: number;
}
