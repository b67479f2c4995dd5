import { DeviceError } from "../../drivers/kit/errors.ts";
import type { FailureRecord } from "./run-record.ts";

/** Any thrown thing as plain data. An error without a code of its own is a fault of ours, and keeps its stack. */
export function failureRecord(error: unknown): FailureRecord {
  if (!(error instanceof Error)) return { code: "FAULT", message: String(error), whatToDo: reportIt };
  if (error instanceof SuppressedError) return failureRecord(firstCause(error)); // the first cause is told first
  const { code, whatToDo } = error as { code?: unknown; whatToDo?: unknown };
  if (typeof code === "string" && typeof whatToDo === "string") {
    const device = error instanceof DeviceError ? { device: error.device } : {};
    return { code, message: error.message, whatToDo, ...device };
  }
  return {
    code: "FAULT",
    message: error.message,
    whatToDo: reportIt,
    ...(error.stack ? { stack: error.stack } : {}),
  };
}

const reportIt = "This is a fault of evenfield itself; please report it with `events.ndjson` of the run.";

function firstCause(error: SuppressedError): unknown {
  return error.suppressed instanceof SuppressedError ? firstCause(error.suppressed) : error.suppressed;
}

export function isDeviceFailure(failure: FailureRecord): boolean {
  return failure.code.startsWith("RIG_");
}
