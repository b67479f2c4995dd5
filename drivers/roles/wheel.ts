import type { Device } from "./device.ts";

/** Filter wheel. Slots count from 1, as people and labels count them. */
export interface Wheel extends Device {
  readonly role: "wheel";
  readonly slotNames: readonly string[];
  slot(signal: AbortSignal): Promise<number>;
  /** @throws OutOfLimitsError before anything moves */
  moveTo(slot: number, signal: AbortSignal): Promise<void>;
}
