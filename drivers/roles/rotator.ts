import type { Device } from "./device.ts";

export interface Rotator extends Device {
  readonly role: "rotator";
  angleDegrees(signal: AbortSignal): Promise<number>;
  moveTo(angleDegrees: number, signal: AbortSignal): Promise<void>;
  ensureStopped(signal: AbortSignal): Promise<void>;
}
