import type { WeatherReadings } from "../../scene/mechanics/weather.ts";
import type { World } from "../../scene/world.ts";
import { invalidValue, notImplemented } from "../ascom-error.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";

type Sensor = readonly [description: string, read: (readings: WeatherReadings) => number];

const sensors: Readonly<Record<string, Sensor>> = {
  DewPoint: ["from temperature and humidity [°C]", dewPointCelsius],
  Humidity: ["humidity sensor [%]", (readings) => readings.humidityPercent],
  RainRate: ["rain gauge [mm/h]", (readings) => readings.rain],
  Temperature: ["thermometer [°C]", (readings) => readings.temperatureCelsius],
  WindGust: ["anemometer, highest of the last 2 minutes [m/s]", (readings) => readings.windGust],
  WindSpeed: ["anemometer [m/s]", (readings) => readings.wind],
};
const absent = [
  "CloudCover",
  "Pressure",
  "SkyBrightness",
  "SkyQuality",
  "SkyTemperature",
  "StarFWHM",
  "WindDirection",
];

/** The weather station beside the telescope. */
export class ConditionsDevice extends SimAlpacaDevice {
  protected override readonly stateNames = Object.keys(sensors);
  #freshMs: number;

  constructor(identity: Identity, world: World, options: DeviceOptions) {
    super(identity, world, options, "Simulated weather station");
    this.#freshMs = world.clock.nowMs();
    for (const [name, [, read]] of Object.entries(sensors)) {
      this.members.reads(name.toLowerCase(), () => read(world.weather.readings));
    }
    this.members.lacks(...absent.map((name) => name.toLowerCase()));
    this.members.setting("AveragePeriod", "number", {
      read: () => 0,
      write: (hours) => {
        if (hours !== 0) throw invalidValue("only momentary values are offered: an average period of 0");
      },
    });
    this.members.readsWith(
      "sensordescription",
      { SensorName: "text" },
      ({ SensorName }) => sensorOf(SensorName)[0],
    );
    this.members.readsWith("timesincelastupdate", { SensorName: "text" }, ({ SensorName }) => {
      if (SensorName !== "") sensorOf(SensorName);
      return this.#secondsSinceUpdate();
    });
    this.members.writes("refresh", {}, () => {
      this.#secondsSinceUpdate();
    });
  }

  /** The readings are always of now, unless the station has frozen. */
  #secondsSinceUpdate(): number {
    const { clock, weather } = this.world;
    if (weather.readings === weather.actual) this.#freshMs = clock.nowMs();
    return (clock.nowMs() - this.#freshMs) / 1000;
  }
}

/** By its name in any casing. @throws AscomError 0x400 for one that this station lacks, 0x401 for no sensor at all */
function sensorOf(name: string): Sensor {
  const isCalled = (one: string) => one.toLowerCase() === name.toLowerCase();
  const known = Object.keys(sensors).find(isCalled);
  if (known !== undefined) return sensors[known]!;
  if (absent.some(isCalled)) throw notImplemented(name);
  throw invalidValue(`there is no sensor "${name}"`);
}

/** Magnus form over water, constants of D. Sonntag, Z. Meteorol. 40 (1990) 340 (from memory). */
function dewPointCelsius({ temperatureCelsius, humidityPercent }: WeatherReadings): number {
  const [a, b] = [17.62, 243.12];
  const g =
    Math.log(Math.max(humidityPercent, 0.1) / 100) + (a * temperatureCelsius) / (b + temperatureCelsius);
  return (b * g) / (a - g);
}
