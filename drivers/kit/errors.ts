import { oneLine } from "./plain-text.ts";

/**
 * What a device or its link could not do. The thrower says what happened and what to do next;
 * only the safing at the end of a run knows what is left on the rig. Match on `code`, never on text. A message holds words
 * of the device's own: it is one line whatever they are.
 */
export abstract class DeviceError extends Error {
  abstract readonly code: string;
  abstract readonly whatToDo: string;
  constructor(
    readonly device: string,
    message: string,
    options?: ErrorOptions,
  ) {
    super(oneLine(`${device}: ${message}`), options);
    this.name = new.target.name;
  }
}

/** The link to a device is gone, or the device has left the server. */
export class DeviceLostError extends DeviceError {
  override readonly code = "RIG_DEVICE_LOST";
  override readonly whatToDo =
    "Check power, cable and the device server, then run `evenfield restore --rig RIG`.";
}

/** Known to be out of reach: nothing was asked, because the next attempt is still to come. */
export class UnreachableError extends DeviceLostError {
  constructor(device: string, reason: string, when: { lostForSeconds: number; nextSeconds: number }) {
    const [lost, next] = [when.lostForSeconds, when.nextSeconds].map((seconds) => seconds.toFixed(0));
    super(device, `out of reach for ${lost} s (${reason}); tried again in ${next} s`);
  }
}

/** The device gave no final answer in the time that physics allows. */
export class DeadlineError extends DeviceError {
  override readonly code = "RIG_DEADLINE";
  override readonly whatToDo =
    "Check that the device moves and answers; a longer limit will not help a stuck one.";
  constructor(
    device: string,
    readonly what: string,
    readonly waitedSeconds: number,
    options?: ErrorOptions,
  ) {
    super(device, `${what} did not end within ${waitedSeconds.toFixed(1)} s`, options);
  }
}

/** The device answered, and the answer was no. */
export class RefusedError extends DeviceError {
  override readonly code = "RIG_REFUSED";
  override readonly whatToDo =
    "Read the device's own message above; probe the rig with `evenfield probe --rig RIG`.";
}

/** A motion was given up for a command that makes the rig safe and came after it. */
export class OverruledError extends DeviceError {
  override readonly code = "RIG_OVERRULED";
  override readonly whatToDo = "Nothing: the rig was being made safe. Look at why in the report.";
  constructor(device: string) {
    super(device, "given up: the device was told to make itself safe meanwhile");
  }
}

/** Asked for something outside what the device declares; nothing was sent. */
export class OutOfLimitsError extends DeviceError {
  override readonly code = "RIG_OUT_OF_LIMITS";
  override readonly whatToDo =
    "Change the plan or the rig file so that the value lies within the device's limits.";
  constructor(
    device: string,
    readonly setting: string,
    readonly asked: number | string,
    readonly allowed: string,
  ) {
    super(device, `${setting} ${asked} is outside ${allowed}`);
  }
}

/** The device lacks something that the plan needs. */
export class MissingAbilityError extends DeviceError {
  override readonly code = "RIG_MISSING_ABILITY";
  override readonly whatToDo =
    "Use a device that has it, or a plan that does without; `evenfield probe` lists abilities.";
}

/** The device says one thing and shows another after the command ended. */
export class ReadbackError extends DeviceError {
  override readonly code = "RIG_READBACK";
  override readonly whatToDo =
    "Look whether another program commands the same device; then run `evenfield restore`.";
  constructor(
    device: string,
    readonly setting: string,
    readonly wanted: unknown,
    readonly found: unknown,
  ) {
    super(device, `${setting} should be ${String(wanted)} and reads ${String(found)}`);
  }
}
