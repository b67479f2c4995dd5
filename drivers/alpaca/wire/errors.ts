import {
  DeadlineError,
  DeviceError,
  DeviceLostError,
  MissingAbilityError,
  RefusedError,
} from "../../kit/errors.ts";

/** What the standard's own error numbers mean; everything from 0x500 is the driver's own. */
const meanings: Readonly<Record<number, string>> = {
  1024: "not implemented",
  1025: "invalid value",
  1026: "value not set",
  1031: "not connected",
  1032: "not possible while parked",
  1033: "not possible while slaved",
  1035: "not possible now",
  1036: "unknown action",
  1038: "cancelled",
};

export const ascom = {
  notImplemented: 0x400,
  invalidValue: 0x401,
  valueNotSet: 0x402,
  notConnected: 0x407,
  parked: 0x408,
  slaved: 0x409,
  invalidOperation: 0x40b,
  actionNotImplemented: 0x40c,
  cancelled: 0x40e,
  /** From here on each driver has its own. */
  driverErrorsFrom: 0x500,
} as const;

/** The device understood and said no, with its error number. */
export class AscomError extends RefusedError {
  constructor(
    device: string,
    readonly member: string,
    readonly errorNumber: number,
    readonly said: string,
  ) {
    super(device, sentence(member, errorNumber, said));
  }
}

/** The member is optional and this device does without it. */
export class NotImplementedError extends MissingAbilityError {
  constructor(
    device: string,
    readonly member: string,
    said: string,
    readonly errorNumber: number = ascom.notImplemented,
  ) {
    super(device, sentence(member, errorNumber, said));
  }
}

/** The server answers, and its device is not connected: switched off, or disconnected by another client. */
export class NotConnectedError extends DeviceLostError {
  readonly errorNumber = ascom.notConnected;
  constructor(
    device: string,
    readonly member: string,
    said: string,
  ) {
    super(device, sentence(member, ascom.notConnected, said));
  }
}

/** The server did not carry the request out: a path or parameter that it does not take (400), or its own fault (500). */
export class HttpStatusError extends RefusedError {
  constructor(
    device: string,
    readonly member: string,
    readonly status: number,
    readonly said: string,
  ) {
    super(device, `${member}: the server answers HTTP ${status}${said === "" ? "" : ` (${said})`}`);
  }
}

/** A reply that is no Alpaca reply: not JSON, the wrong type, an image whose length does not fit. */
export class UnreadableReplyError extends DeviceError {
  override readonly code = "ALPACA_UNREADABLE_REPLY";
  override readonly whatToDo = "Look at the device server's log and version; its reply breaks the standard.";
  constructor(
    device: string,
    readonly member: string,
    what: string,
    options?: ErrorOptions,
  ) {
    super(device, `${member}: unreadable reply: ${what}`, options);
  }
}

/**
 * Nothing was heard of the device: the link, the server's own fault, a garbled or a late answer. It may be carrying
 * out what it was told all the same.
 */
export function isSilence(error: unknown): boolean {
  if (error instanceof NotConnectedError) return false;
  if (error instanceof HttpStatusError) return error.status >= 500;
  return (
    error instanceof DeviceLostError ||
    error instanceof DeadlineError ||
    error instanceof UnreadableReplyError
  );
}

/** Bridges to an older technique let its numbers through: 0x80040000 and the number, signed. */
export function plainErrorNumber(errorNumber: number): number {
  return errorNumber < 0 && errorNumber >>> 16 === 0x8004 ? errorNumber & 0xffff : errorNumber;
}

/** The typed error for a reply's error number. */
export function errorFor(device: string, member: string, errorNumber: number, said: string): DeviceError {
  switch (plainErrorNumber(errorNumber)) {
    case ascom.notImplemented:
      return new NotImplementedError(device, member, said);
    case ascom.actionNotImplemented:
      return new NotImplementedError(device, member, said, ascom.actionNotImplemented);
    case ascom.notConnected:
      return new NotConnectedError(device, member, said);
    default:
      return new AscomError(device, member, plainErrorNumber(errorNumber), said);
  }
}

function sentence(member: string, errorNumber: number, said: string): string {
  const known = meanings[errorNumber];
  const number = `0x${(errorNumber >>> 0).toString(16).toUpperCase()}`;
  return `${member}: ${known === undefined ? `error ${number}` : `${known} (${number})`}${said === "" ? "" : `: ${said}`}`;
}
