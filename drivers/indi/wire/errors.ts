import { DeviceError } from "../../kit/errors.ts";

/** The far side sends more than the declared limits allow: the link is dropped, as its stream can't be trusted. */
export class StreamLimitError extends Error {
  constructor(
    readonly what: string,
    readonly limit: number,
  ) {
    super(`the INDI stream has ${what} beyond the limit of ${limit}`);
    this.name = "StreamLimitError";
  }
}

/** The camera's frames come in a form that is not read, and will again. */
export class FrameFormatError extends DeviceError {
  override readonly code = "INDI_FRAME_FORMAT";
  override readonly whatToDo =
    "Switch off compression and colour in the driver, or name a plain 16-bit format with `captureFormat` in the rig file.";
}

/** A BLOB came and is no use: cut short, not base64, not inflatable, or larger than the limit. */
export class BlobError extends DeviceError {
  override readonly code = "INDI_BLOB";
  override readonly whatToDo =
    "Take the frame again; if this repeats, look at the network and at the driver's log.";
}
