import type { World } from "../../scene/world.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";

/** What this monitor takes for safe: a clear forecast, no rain, moderate wind, temperatures for people. */
const windMetresPerSecondMax = 10;
const celsiusMin = -10;
const celsiusMax = 40;

export class SafetyDevice extends SimAlpacaDevice {
  protected override readonly stateNames = ["IsSafe"];

  constructor(identity: Identity, world: World, options: DeviceOptions) {
    super(identity, world, options, "Simulated safety monitor");
    this.members.reads("issafe", () => {
      const { forecast, rain, wind, temperatureCelsius } = world.weather.readings;
      const isCalm = wind <= windMetresPerSecondMax;
      const isMild = temperatureCelsius >= celsiusMin && temperatureCelsius <= celsiusMax;
      return forecast === 0 && rain === 0 && isCalm && isMild;
    });
  }
}
