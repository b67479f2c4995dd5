import type { Device } from "./device.ts";

export type ShutterState = "open" | "closed" | "moving" | "unknown";

export interface Dome extends Device {
  readonly role: "dome";
  readonly abilities: { readonly shutter: boolean; readonly azimuth: boolean; readonly park: boolean };
  state(signal: AbortSignal): Promise<{
    readonly shutter: ShutterState | undefined;
    readonly azimuthDegrees: number | undefined;
    readonly parked: boolean | undefined;
    readonly moving: boolean;
  }>;
  ensureShutterOpen(signal: AbortSignal): Promise<void>;
  ensureShutterClosed(signal: AbortSignal): Promise<void>;
  /** Azimuth from north through east. */
  turnTo(azimuthDegrees: number, signal: AbortSignal): Promise<void>;
  ensureUnparked(signal: AbortSignal): Promise<void>;
  ensureStopped(signal: AbortSignal): Promise<void>;
}

/** What a rig file may say of a dome where the driver does not. */
export interface DomeOptions {
  /** Longest time that the shutter takes [s]. Default 180. */
  readonly shutterSecondsMax?: number;
  /** Slowest turning that a deadline allows for [degrees/s]. Default 1. */
  readonly turnDegreesPerSecondMin?: number;
  /** How near counts as arrived [degrees]. Default 1. */
  readonly toleranceDegrees?: number;
}
