import { MissingAbilityError, OutOfLimitsError, RefusedError } from "../../kit/errors.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { IndiDevice } from "../session/device.ts";
import { quickChangeSeconds, switchSetting } from "../session/kept-setting.ts";
import { readNumber } from "../session/read-number.ts";
import { limitsOf, numberIn, type PropertyVector, switchIn } from "../wire/property.ts";

const property = "CCD_TEMPERATURE";
const element = "CCD_TEMPERATURE_VALUE";
/** How near the wanted temperature counts as held [degrees Celsius]. */
const toleranceCelsius = 0.75;
/** Slow coolers change about two degrees in a minute [s per degree]. */
const secondsPerDegree = 40;

export function hasThermometer(device: IndiDevice): boolean {
  return device.property(property) !== undefined;
}

export function canHold(device: IndiDevice): boolean {
  return device.property(property)?.perm === "rw";
}

/** @throws MissingAbilityError, OutOfLimitsError; sends nothing */
export function checkCelsius(device: IndiDevice, celsius: number): void {
  if (!canHold(device)) throw new MissingAbilityError(device.name, "this camera cannot hold a temperature");
  const limits = limitsOf(device.property(property), element);
  if (!limits || (celsius >= limits.min && celsius <= limits.max)) return;
  throw new OutOfLimitsError(
    device.name,
    "sensor temperature",
    celsius,
    `${limits.min} to ${limits.max} degrees`,
  );
}

export async function readCelsius(device: IndiDevice, signal: AbortSignal): Promise<number | undefined> {
  const value = numberIn(await device.refresh(property, {}, signal), element);
  return value !== undefined && Number.isFinite(value) ? value : undefined;
}

/** Drivers differ in whether holding is Busy or Ok, so the thermometer decides. Setting a temperature starts the cooler. */
export async function holdCelsius(device: IndiDevice, celsius: number, signal: AbortSignal): Promise<void> {
  const from = await readNumber(device, property, element, signal);
  const cooler = device.property("CCD_COOLER");
  const off = cooler?.elements.get("COOLER_ON")?.value === false;
  if (Math.abs(from - celsius) <= 0.1 && !off) return;
  const sent = await device.send(property, { [element]: celsius }, signal);
  const reached = await device.waitFor(
    property,
    (vector) =>
      vector.state === "Alert" ||
      Math.abs((numberIn(vector, element) ?? Number.NaN) - celsius) <= toleranceCelsius,
    { after: sent, withinSeconds: 120 + Math.abs(from - celsius) * secondsPerDegree },
    signal,
  );
  if (reached.state === "Alert") throw new RefusedError(device.name, `${celsius} degrees refused`);
}

/** A cooler that regulates stays Busy: the switch counts. */
async function switchCooler(device: IndiDevice, on: boolean, signal: AbortSignal): Promise<void> {
  const property = "CCD_COOLER";
  const isSo = (vector: PropertyVector) => switchIn(vector, "COOLER_ON") === on;
  if (isSo(await device.refresh(property, {}, signal))) return;
  const sent = await device.send(property, { COOLER_ON: on, COOLER_OFF: !on }, signal);
  await device.waitFor(
    property,
    (vector) => !vector.awaitingAnswer && isSo(vector),
    { after: sent, withinSeconds: quickChangeSeconds },
    signal,
  );
}

/**
 * Of a running cooler its temperature is kept; the standard has no word for the set point. One that is off is put off
 * again and the sensor left to warm up by itself.
 */
export function coolerSettings(device: IndiDevice): readonly KeptSetting[] {
  if (!device.property("CCD_COOLER")) return [];
  const onOff: KeptSetting = {
    ...switchSetting(device, "cooler", "CCD_COOLER"),
    restore: (value, signal) => switchCooler(device, value === "COOLER_ON", signal),
  };
  const isOn = () => device.property("CCD_COOLER")?.elements.get("COOLER_ON")?.value === true;
  const temperature: KeptSetting = {
    key: "coolerCelsius",
    unit: "degrees Celsius",
    async read(signal) {
      if (!canHold(device) || !isOn()) return undefined;
      const celsius = await readCelsius(device, signal);
      return celsius === undefined ? undefined : Math.round(celsius * 10) / 10;
    },
    async restore(value, signal) {
      const now = await readCelsius(device, signal);
      if (now !== undefined && Math.abs(now - Number(value)) <= 1 && isOn()) return;
      await holdCelsius(device, Number(value), signal);
    },
    same: (before, now) => Math.abs(Number(before) - Number(now)) <= 1,
  };
  return [temperature, onOff];
}
