import { type WeatherState, WeatherTally } from "../../roles/weather.ts";
import { numberIn, type PropertyVector, switchesOn, textIn } from "../wire/property.ts";

type Safety = WeatherState["safety"];

/**
 * What a station's properties say together. The vector's own state is not enough: with a hand's override it says Ok
 * while single lights say Alert, and a reading of NaN compares as Ok.
 */
export function judgeWeather(vectors: readonly PropertyVector[]): WeatherState {
  const named = (name: string) => vectors.find((vector) => vector.name === name);
  const tally = new WeatherTally();
  const note = tally.note.bind(tally);

  const status = named("WEATHER_STATUS");
  const overall = named("SAFETY_STATUS");
  const parameters = named("WEATHER_PARAMETERS");
  if (!status && !overall) note("unknown", "the station reports no status");
  for (const override of switchesOn(named("WEATHER_OVERRIDE")))
    note("unknown", `safety overridden by hand (${override})`);
  if (overall) note(ofLight(overall.state), `SAFETY_STATUS is ${overall.state}`);
  if (parameters?.state === "Alert") note("unknown", "the station cannot read its source");

  for (const light of status?.elements.values() ?? []) {
    const value = textIn(status, light.name) ?? "Idle";
    note(ofLight(value), `${light.label || light.name} is ${value}`);
  }
  if (status && status.elements.size === 0) note("unknown", "the station's status is empty");

  const readings: Record<string, number> = {};
  for (const { name, label } of parameters?.elements.values() ?? []) {
    const value = numberIn(parameters, name) ?? Number.NaN;
    const critical = status?.elements.has(name) === true;
    if (!Number.isFinite(value)) {
      note(critical || !status ? "unknown" : "warning", `${label || name} has no value`);
      continue;
    }
    readings[name] = value;
    const limits = named(name);
    const min = numberIn(limits, "MIN_OK");
    const max = numberIn(limits, "MAX_OK");
    if (min !== undefined && max !== undefined && (value < min || value > max)) {
      note(critical ? "unsafe" : "warning", `${label || name} ${value} is outside ${min} to ${max}`);
    }
  }
  return tally.state(readings);
}

/** The protocol's lights: Ok safe, Busy warning zone, Alert outside the limits, Idle unknown. */
function ofLight(state: string): Safety {
  return state === "Ok" ? "safe" : state === "Busy" ? "warning" : state === "Alert" ? "unsafe" : "unknown";
}
