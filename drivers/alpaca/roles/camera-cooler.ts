import { MissingAbilityError, OutOfLimitsError } from "../../kit/errors.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { AlpacaDevice } from "../session/device.ts";
import { ensureProperty, type Property, propertySetting } from "../session/kept-setting.ts";
import { flag, number } from "../wire/values.ts";
import type { CameraFacts } from "./camera-facts.ts";

/** How near the wanted temperature counts as held [degrees Celsius]. */
const toleranceCelsius = 0.75;
/** Slow coolers change about two degrees in a minute [s per degree]. */
const secondsPerDegree = 40;
const absoluteZeroCelsius = -273.15;

const coolerOn: Property<boolean> = { name: "CoolerOn", schema: flag };
const setPoint: Property<number> = {
  name: "SetCCDTemperature",
  schema: number,
  tolerance: 0.1,
};

export async function readCelsius(device: AlpacaDevice, signal: AbortSignal): Promise<number | undefined> {
  const celsius = await device.optional("ccdtemperature", number, signal);
  return celsius !== undefined && Number.isFinite(celsius) ? celsius : undefined;
}

/** @throws MissingAbilityError, OutOfLimitsError; the real limits are the device's own, which it does not tell */
export function checkCelsius(device: string, celsius: number, { canHoldCelsius }: CameraFacts): void {
  if (!canHoldCelsius) throw new MissingAbilityError(device, "this camera cannot hold a temperature");
  if (celsius >= absoluteZeroCelsius && celsius < 100) return;
  throw new OutOfLimitsError(device, "sensor temperature", celsius, `${absoluteZeroCelsius} to 100 degrees`);
}

/** The thermometer decides; a set point alone proves nothing. */
export async function holdCelsius(device: AlpacaDevice, celsius: number, signal: AbortSignal): Promise<void> {
  await ensureProperty(device, setPoint, celsius, signal);
  await ensureProperty(device, coolerOn, true, signal);
  const from = (await readCelsius(device, signal)) ?? celsius;
  await device.until(
    `cooling to ${celsius} degrees`,
    {
      withinSeconds: 120 + Math.abs(from - celsius) * secondsPerDegree,
      precisionSeconds: 1,
      pauseSecondsMax: 5,
    },
    async (abort) => {
      const now = await readCelsius(device, abort);
      return now === undefined || Math.abs(now - celsius) <= toleranceCelsius ? true : undefined;
    },
    signal,
  );
}

/** The set point, then whether the cooler runs; one that was off is left to warm up by itself. */
export function coolerSettings(device: AlpacaDevice, facts: CameraFacts): readonly KeptSetting[] {
  if (!facts.hasCooler) return [];
  const onOff = propertySetting(device, "cooler", coolerOn);
  return facts.canHoldCelsius
    ? [propertySetting(device, "coolerCelsius", setPoint, "degrees Celsius"), onOff]
    : [onOff];
}
