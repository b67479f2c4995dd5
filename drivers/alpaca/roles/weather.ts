import { resolveAll, resolveEach } from "../../kit/resolve-all.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { Weather, WeatherState } from "../../roles/weather.ts";
import { AlpacaRole, type RoleContext } from "../session/alpaca-role.ts";
import type { AlpacaDevice } from "../session/device.ts";
import { connectDevice, disconnectDevice, isConnected } from "../session/device-connection.ts";
import { AscomError } from "../wire/errors.ts";
import { flag, number } from "../wire/values.ts";
import { judgeWeather, type WeatherFindings, type WeatherLimits } from "./weather-judgement.ts";

/** Every sensor of the standard, by its member. */
const sensors = [
  "cloudcover",
  "dewpoint",
  "humidity",
  "pressure",
  "rainrate",
  "skybrightness",
  "skyquality",
  "skytemperature",
  "starfwhm",
  "temperature",
  "winddirection",
  "windgust",
  "windspeed",
] as const;

/** A report older than this says nothing about now [s]. */
const staleSeconds = 300;

export interface WeatherDevices {
  readonly monitor: AlpacaDevice | undefined;
  readonly conditions: AlpacaDevice | undefined;
}

/** A SafetyMonitor, an ObservingConditions device, or both. */
export class AlpacaWeather extends AlpacaRole implements Weather {
  override readonly role = "weather";
  readonly #devices: WeatherDevices;
  readonly #limits: WeatherLimits;
  #sensors: readonly string[] = [];
  /** The second device, if it was found disconnected: it is left so again. */
  #secondToLeave: AlpacaDevice | undefined;

  /** @param context of the monitor, or of the station where there is none */
  constructor(context: RoleContext, devices: WeatherDevices, limits: WeatherLimits = {}) {
    super(context);
    this.#devices = devices;
    this.#limits = limits;
  }

  get #second(): AlpacaDevice | undefined {
    return this.#devices.monitor ? this.#devices.conditions : undefined;
  }

  /** Others watch the weather too. */
  protected override get mayDisconnect(): boolean {
    return false;
  }

  protected override async connectAll(signal: AbortSignal, seen?: boolean): Promise<void> {
    await resolveEach([super.connectAll(signal, seen), this.#connectSecond(signal)]);
  }

  async #connectSecond(signal: AbortSignal): Promise<void> {
    const second = this.#second;
    if (!second) return;
    const isSeen = await isConnected(second, signal);
    if (!isSeen) this.#secondToLeave = second;
    await connectDevice(second, signal, isSeen);
  }

  protected override async disconnect(signal: AbortSignal, seen?: boolean): Promise<void> {
    // At once: closing has little time, and each takes a slow server seconds.
    await Promise.all([super.disconnect(signal, seen), this.#leaveSecond(signal)]);
  }

  async #leaveSecond(signal: AbortSignal): Promise<void> {
    const second = this.#secondToLeave;
    this.#secondToLeave = undefined;
    if (second) await disconnectDevice(second, signal, true);
  }

  protected override async readFacts(signal: AbortSignal): Promise<void> {
    if (this.#devices.conditions)
      this.#sensors = Object.keys(await this.#readings(this.#devices.conditions, signal));
  }

  protected override ping(signal: AbortSignal): Promise<unknown> {
    const { monitor } = this.#devices;
    return monitor ? monitor.probe("issafe", flag, signal) : this.device.probe("connected", flag, signal);
  }

  /** Never throws for silence: no answer is an answer here. */
  async state(signal: AbortSignal): Promise<WeatherState> {
    return judgeWeather(await this.#find(signal), this.#limits);
  }

  async #find(signal: AbortSignal): Promise<WeatherFindings> {
    const { monitor, conditions } = this.#devices;
    const read = {
      isSafe: () => monitor!.get("issafe", flag, signal),
      found: () =>
        resolveAll({
          isFresh: this.#isFresh(conditions!, signal),
          readings: this.#readings(conditions!, signal),
        }),
    };
    const { isSafe, found } = await resolveAll({
      isSafe: monitor && this.#unlessSilent(read.isSafe, signal),
      found: conditions && this.#unlessSilent(read.found, signal),
    });
    return {
      isSafe: monitor ? (isSafe ?? "unknown") : undefined,
      readings: found?.readings ?? {},
      conditions: conditions && (found ? (found.isFresh ? "fresh" : "stale") : "silent"),
    };
  }

  async #unlessSilent<T>(read: () => Promise<T>, signal: AbortSignal): Promise<T | undefined> {
    try {
      return await this.recovering(read, signal);
    } catch (error) {
      signal.throwIfAborted();
      this.log.warn({ device: this.name, error: String(error) }, "no weather report");
      return undefined;
    }
  }

  /** One request where the station has a device state. A sensor that cannot be read now is left out. */
  async #readings(station: AlpacaDevice, signal: AbortSignal): Promise<Record<string, number>> {
    const state = await station.state(signal);
    const given = new Map([...(state ?? [])].map(([name, value]) => [name.toLowerCase(), value]));
    const values = await resolveEach(
      sensors.map(async (sensor) => (state ? given.get(sensor) : this.#single(station, sensor, signal))),
    );
    const readings: Record<string, number> = {};
    for (const [i, sensor] of sensors.entries()) {
      const value = values[i];
      if (typeof value === "number" && Number.isFinite(value)) readings[sensor] = value;
    }
    return readings;
  }

  async #single(station: AlpacaDevice, sensor: string, signal: AbortSignal): Promise<number | undefined> {
    try {
      return await station.optional(sensor, number, signal);
    } catch (error) {
      if (error instanceof AscomError) return undefined;
      throw error;
    }
  }

  /** An empty name asks for the newest of all sensors; negative means that there has been no report yet. */
  async #isFresh(station: AlpacaDevice, signal: AbortSignal): Promise<boolean> {
    try {
      const ageSeconds = await station.optional("timesincelastupdate", number, signal, { SensorName: "" });
      return ageSeconds === undefined || (ageSeconds >= 0 && ageSeconds <= staleSeconds);
    } catch (error) {
      if (error instanceof AscomError) return true; // it does not tell
      throw error;
    }
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return [];
  }

  override async [Symbol.asyncDispose](): Promise<void> {
    await super[Symbol.asyncDispose]();
    await this.closing((signal) => this.#leaveSecond(signal));
  }

  override describe(): Readonly<Record<string, string>> {
    const { monitor, conditions } = this.#devices;
    return {
      safety: monitor ? `by ${monitor.name}` : "by the readings alone",
      readings: conditions ? this.#sensors.join(", ") || "none now" : "none",
    };
  }
}
