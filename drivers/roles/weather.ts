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

/** Worst last. `unknown` is worse than a warning, and never hides that something is known to be unsafe. */
const safeties: readonly WeatherState["safety"][] = ["safe", "warning", "unknown", "unsafe"];

/** Gathers what single readings say: the worst of them is what they say together. */
export class WeatherTally {
  readonly #reasons: string[] = [];
  #worst = 0;

  note(safety: WeatherState["safety"], reason: string): void {
    if (safety === "safe") return;
    this.#reasons.push(reason);
    this.#worst = Math.max(this.#worst, safeties.indexOf(safety));
  }

  state(readings: WeatherState["readings"]): WeatherState {
    return { safety: safeties[this.#worst]!, reasons: this.#reasons, readings };
  }
}
