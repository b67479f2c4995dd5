import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { Weather, WeatherState } from "../../roles/weather.ts";
import { IndiRole, type RoleContext } from "../session/indi-role.ts";
import { numberIn } from "../wire/property.ts";
import { judgeWeather } from "./weather-judgement.ts";

/** How long a station may take to answer a request for fresh values [s]. */
const refreshSeconds = 15;
/** A report that is so much later than the station's own period is missing [s]. */
const lateSeconds = 10;

export class IndiWeather extends IndiRole implements Weather {
  override readonly role = "weather";
  protected override readonly requiredProperties: readonly string[] = [];
  /** On the monotonic clock. */
  #reportedSeconds: number | undefined;
  /** It has once: from then on, no answer is silence, however young its last report. */
  #hasAnsweredRequest = false;

  constructor(context: RoleContext) {
    super(context);
    // Only updates count: a definition may merely repeat what was asked for.
    context.device.watch((event) => {
      if (event.type === "updated" && reportProperties.has(event.vector.name))
        this.#reportedSeconds = this.clock.monotonicSeconds();
      else if (event.type === "lost") this.#reportedSeconds = undefined;
    });
  }

  /** Never a light vector: the reference library does not answer when it is asked for one by its name. */
  protected override get mainProperty(): string {
    return ["WEATHER_PARAMETERS", "WEATHER_UPDATE"].find((name) => this.has(name)) ?? "CONNECTION";
  }

  protected override async setUp(signal: AbortSignal): Promise<void> {
    // Drivers differ in which of the two they have; without either it is no weather station.
    if (!this.has("WEATHER_STATUS") && !this.has("SAFETY_STATUS")) {
      await this.device.require(["WEATHER_STATUS"], { withinSeconds: 5 }, signal);
    }
    // What is defined at connecting is as old as the driver's start at most; it counts until its age is over.
    this.#reportedSeconds ??= this.clock.monotonicSeconds();
  }

  async state(signal: AbortSignal): Promise<WeatherState> {
    await this.ready(signal);
    const fresh = await this.#askAnew(signal);
    // Lights are sent when they change, before the readings: what stands here after this answer is the present.
    for (const name of [this.mainProperty, "WEATHER_OVERRIDE"]) {
      if (this.has(name)) await this.device.refresh(name, {}, signal);
    }
    const judged = judgeWeather(this.device.properties());
    if (fresh) return judged;
    return { ...judged, safety: "unknown", reasons: ["no fresh report from the station", ...judged.reasons] };
  }

  /** @returns whether what the device shows now is fresh by its own measure */
  async #askAnew(signal: AbortSignal): Promise<boolean> {
    if (this.has("WEATHER_REFRESH") && this.has("WEATHER_PARAMETERS")) {
      // Subscribed before it is asked.
      const answer = this.device.waitForUpdate("WEATHER_PARAMETERS", refreshSeconds, signal);
      try {
        await Promise.all([answer, this.device.send("WEATHER_REFRESH", { REFRESH: true }, signal)]);
        this.#hasAnsweredRequest = true;
        return true;
      } catch {
        signal.throwIfAborted();
        if (this.#hasAnsweredRequest) return false;
      }
    }
    const periodSeconds = numberIn(this.device.property("WEATHER_UPDATE"), "PERIOD") ?? 60;
    const ageSeconds = this.clock.monotonicSeconds() - (this.#reportedSeconds ?? Number.NEGATIVE_INFINITY);
    return periodSeconds > 0 && ageSeconds <= periodSeconds + lateSeconds;
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return [];
  }

  override describe(): Readonly<Record<string, string>> {
    const { readings } = judgeWeather(this.device.properties());
    return {
      readings: Object.keys(readings).join(", ") || "none",
      refresh: this.has("WEATHER_REFRESH") ? "on request" : "by its own period",
    };
  }
}

const reportProperties = new Set(["WEATHER_PARAMETERS", "WEATHER_STATUS", "SAFETY_STATUS"]);
