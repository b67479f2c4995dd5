import { ReadbackError } from "../../kit/errors.ts";
import { numberIn } from "../wire/property.ts";
import type { IndiDevice } from "./device.ts";

/** Asks the device for a number as it is now. @throws ReadbackError if it says NaN or nothing */
export async function readNumber(
  device: IndiDevice,
  property: string,
  element: string,
  signal: AbortSignal,
  withinSeconds = 5,
): Promise<number> {
  const vector = await device.refresh(property, { withinSeconds }, signal);
  const value = numberIn(vector, element);
  if (value === undefined || !Number.isFinite(value)) {
    throw new ReadbackError(device.name, `${property}.${element}`, "a number", value ?? "nothing");
  }
  return value;
}
