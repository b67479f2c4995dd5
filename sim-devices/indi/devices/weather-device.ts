import type { WeatherReadings } from "../../scene/mechanics/weather.ts";
import type { World } from "../../scene/world.ts";
import { SimDevice } from "../sim-device.ts";
import {
  lightVector,
  numberOf,
  numberVector,
  putNumbers,
  switchVector,
  type VectorState,
} from "../vector.ts";

const weatherInterface = 128;
const group = "Main Control";

/** Parameter, label, reading, and the limits that it starts with. Gust and humidity are not critical. */
const parameters: readonly (readonly [string, string, keyof WeatherReadings, number, number, boolean])[] = [
  ["WEATHER_FORECAST", "Weather", "forecast", 0, 0, true],
  ["WEATHER_TEMPERATURE", "Temperature (C)", "temperatureCelsius", -10, 40, true],
  ["WEATHER_WIND_SPEED", "Wind (m/s)", "wind", 0, 10, true],
  ["WEATHER_WIND_GUST", "Gust (m/s)", "windGust", 0, 15, false],
  ["WEATHER_RAIN_HOUR", "Precip (mm)", "rain", 0, 0, true],
  ["WEATHER_HUMIDITY", "Humidity (%)", "humidityPercent", 0, 95, false],
];

const severity: readonly VectorState[] = ["Idle", "Ok", "Busy", "Alert"];

/** A weather station: raw readings, limits, and one light per critical parameter. */
export class WeatherDevice extends SimDevice {
  readonly #status = lightVector(
    { name: "WEATHER_STATUS", label: "Status", group },
    parameters.filter((p) => p[5]).map(([name, label]) => [name, label]),
  );
  readonly #readings = numberVector(
    { name: "WEATHER_PARAMETERS", label: "Parameters", group: "Parameters", perm: "ro" },
    parameters.map(([name, label]) => [name, label, 0, -200, 200, 0, "%4.2f"]),
  );
  readonly #limits = parameters.map(([name, label, , min, max]) =>
    numberVector({ name, label, group: "Parameters" }, [
      ["MIN_OK", "OK range min", min, -200, 200, 0, "%4.2f"],
      ["MAX_OK", "OK range max", max, -200, 200, 0, "%4.2f"],
      ["PERC_WARN", "% for Warning", 15, 0, 100, 1, "%g"],
    ]),
  );
  readonly #override = switchVector(
    { name: "WEATHER_OVERRIDE", label: "Override Status", group, rule: "AnyOfMany" },
    [["OVERRIDE", "Override Status"]],
  );
  #sentStatus = "";

  constructor(name: string, world: World) {
    super(name, world, { driver: "weather-driver", interfaceBits: weatherInterface });
    const update = numberVector({ name: "WEATHER_UPDATE", label: "Update", group }, [
      ["PERIOD", "Period (s)", 60, 0, 3600, 60, "%4.2f"],
    ]);
    this.show(this.#status);
    this.show(this.#readings);
    for (const limits of this.#limits) this.keep(limits, () => this.#sendStatus());
    this.keep(update, () => poll.kick());
    this.addButton({ name: "WEATHER_REFRESH", label: "Refresh", group }, ["REFRESH", "Refresh"], () =>
      this.#measure(),
    );
    this.on(this.#override, (values) => {
      this.takeSettings(this.#override, values);
      this.set(this.#override, this.#override.elements[0]?.value ? "Busy" : "Ok");
      this.#sendStatus();
    });
    this.whenConnected(() => {
      this.#read();
      this.#judge();
      this.#readings.state = "Ok";
    });
    const poll = this.poll(
      () => numberOf(update, "PERIOD") || undefined,
      () => this.#measure(),
    );
  }

  #measure(): void {
    this.#read();
    this.set(this.#readings, "Ok");
    this.#sendStatus();
  }

  #read(): void {
    const { readings } = this.world.weather;
    putNumbers(
      this.#readings,
      parameters.map(([, , key]) => readings[key]),
    );
  }

  /** On a change only. */
  #sendStatus(): void {
    this.#judge();
    const now = `${this.#status.state} ${this.#status.elements.map((e) => e.value).join(" ")}`;
    if (now === this.#sentStatus) return;
    this.#sentStatus = now;
    this.set(this.#status);
  }

  #judge(): void {
    let worst = 0;
    for (const light of this.#status.elements) {
      const index = parameters.findIndex(([name]) => name === light.name);
      const value = this.#readings.elements[index]?.value ?? Number.NaN;
      const limits = this.#limits[index]?.elements.map((e) => e.value);
      if (limits) light.value = judgeReading(value, limits);
      worst = Math.max(worst, severity.indexOf(light.value));
    }
    this.#status.state = this.#override.elements[0]?.value ? "Ok" : (severity[worst] ?? "Idle");
  }
}

/** Alert outside the limits, Busy within so many percent of one; a limit of 0 has no such zone. */
function judgeReading(value: number, [min = 0, max = 0, percent = 0]: readonly number[]): VectorState {
  if (value < min || value > max) return "Alert";
  const near = (limit: number) =>
    limit !== 0 && Math.abs(value - limit) <= (Math.abs(max - min) * percent) / 100;
  return near(min) || near(max) ? "Busy" : "Ok";
}
