import type { LeakReport } from "../../imaging/proof/leak.ts";

export interface LeakCheckRequest {
  /** A leak above this share of the flat's level fails the step. */
  readonly limitFraction: number;
  /** Of each kind: covered on the Sun, and covered off it. */
  readonly frames: number;
  /** The flat's level, for tuning its exposure. */
  readonly levelFraction: number;
  readonly coverAfter: "open" | "closed";
}

/** The map of the leak is in `map`, in blocks. */
export interface LeakCheckFound extends Omit<LeakReport, "mapAdu" | "mapColumns" | "mapRows"> {
  readonly exposureSeconds: number;
  readonly frames: number;
  readonly flatLevelAdu: number;
  readonly map: { readonly columns: number; readonly rows: number; readonly adu: readonly (number | null)[] };
  /** How much warmer the sensor was on the Sun than off it. */
  readonly warmerCelsius?: number;
}
