/** A device's own no: told in a reply of status 200 by number. Numbers: ASCOM Alpaca API Reference, error codes. */
export class AscomError extends Error {
  constructor(
    readonly errorNumber: number,
    message: string,
  ) {
    super(message);
    this.name = "AscomError";
  }
}

export const notImplemented = (what: string) => new AscomError(0x400, `${what} is not implemented`);
export const invalidValue = (what: string) => new AscomError(0x401, what);
export const valueNotSet = (what: string) => new AscomError(0x402, `${what} has not been set`);
export const notConnected = (device: string) => new AscomError(0x407, `${device} is not connected`);
export const whileParked = (what: string) => new AscomError(0x408, `${what}: the mount is parked`);
export const invalidOperation = (what: string) => new AscomError(0x40b, what);
export const cancelled = (what: string) => new AscomError(0x40e, `${what} was cancelled`);

/** @returns the value. @throws AscomError 0x401 outside the limits, which are included */
export function checkedNumber(what: string, value: number, min: number, max: number): number {
  if (value >= min && value <= max) return value;
  throw invalidValue(`${what} ${value} is outside ${min} to ${max}`);
}
