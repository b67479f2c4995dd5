import { type WeatherState, WeatherTally } from "../../roles/weather.ts";

type Safety = WeatherState["safety"];

/** What the sensors of an ObservingConditions device may read; what is left out is not judged. */
export interface WeatherLimits {
  /** Of wind and gusts. Default 12 m/s (common practice, no source). */
  readonly windMetresPerSecondMax?: number;
  /** Default 95 % (common practice, no source). */
  readonly humidityPercentMax?: number;
  /** Not judged unless given: thin cloud is no danger to a rig. */
  readonly cloudPercentMax?: number;
}

export interface WeatherFindings {
  /** Of a SafetyMonitor; `undefined`: there is none, `unknown`: it did not answer. */
  readonly isSafe: boolean | "unknown" | undefined;
  /** By the sensor's member name. */
  readonly readings: Readonly<Record<string, number>>;
  /** Whether there is an ObservingConditions device, and whether it answered. */
  readonly conditions: "fresh" | "stale" | "silent" | undefined;
}

/**
 * Both devices together. A monitor decides alone when there is one, and sensors can only make it worse; without one
 * the sensors must be fresh and at least rain or wind be among them.
 */
export function judgeWeather(findings: WeatherFindings, limits: WeatherLimits): WeatherState {
  const { isSafe, readings, conditions } = findings;
  const tally = new WeatherTally();
  const note = tally.note.bind(tally);
  if (isSafe === false) note("unsafe", "the safety monitor says unsafe");
  if (isSafe === "unknown") note("unknown", "the safety monitor does not answer");

  const missing: Safety = isSafe === true ? "warning" : "unknown";
  if (conditions === "silent") note(missing, "the weather station does not answer");
  if (conditions === "stale") note(missing, "the weather station has no fresh report");
  const { windMetresPerSecondMax = 12, humidityPercentMax = 95, cloudPercentMax } = limits;
  const tooHigh = (sensor: string, max: number | undefined, unit: string) => {
    const value = readings[sensor];
    if (value !== undefined && max !== undefined && value > max)
      note("unsafe", `${sensor} ${value} ${unit} is above ${max}`);
  };
  tooHigh("rainrate", 0, "mm/h");
  tooHigh("windspeed", windMetresPerSecondMax, "m/s");
  tooHigh("windgust", windMetresPerSecondMax, "m/s");
  tooHigh("humidity", humidityPercentMax, "%");
  tooHigh("cloudcover", cloudPercentMax, "%");
  if (
    isSafe === undefined &&
    conditions === "fresh" &&
    !("rainrate" in readings || "windspeed" in readings)
  ) {
    note("unknown", "neither rain nor wind is measured, and there is no safety monitor");
  }
  return tally.state(readings);
}
