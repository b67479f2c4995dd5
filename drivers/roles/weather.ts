import type { Device } from "./device.ts";

export interface WeatherState {
  /** `unknown` counts as unsafe: no report, a stale one, NaN, or safety overridden by hand. */
  readonly safety: "safe" | "warning" | "unsafe" | "unknown";
  /** What made it so, in the station's own words. */
  readonly reasons: readonly string[];
  /** Readings as the station names them, in its own units. */
  readonly readings: Readonly<Record<string, number>>;
}

export interface Weather extends Device {
  readonly role: "weather";
  /** Asks the station anew; never answers from an old report. */
  state(signal: AbortSignal): Promise<WeatherState>;
}
