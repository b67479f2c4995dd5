import { DeviceError } from "../../../drivers/kit/errors.ts";
import { given } from "../../../drivers/kit/given.ts";
import type { StepOutcome } from "../../procedures/step.ts";
import { StepError } from "../../procedures/step-error.ts";
import { diskTrouble } from "./disk-trouble.ts";
import type { FailureRecord } from "./run-record.ts";

/** What a step gives as its failure. Asked to stop, it may give just that as its reason, which is none. */
export function stepFailure(outcome: StepOutcome<unknown>): FailureRecord | undefined {
  if (outcome.failure === undefined) return undefined;
  const failure = failureRecord(outcome.failure);
  return outcome.ended === "stopped" && failure.code === "FAULT" ? undefined : failure;
}

/** Any thrown thing as plain data. An error of which nothing is known is a fault of ours, and keeps its stack. */
export function failureRecord(error: unknown): FailureRecord {
  if (!(error instanceof Error)) return { code: "FAULT", message: String(error), whatToDo: reportIt };
  if (error instanceof SuppressedError) return failureRecord(firstCause(error)); // the first cause comes first
  const { code, whatToDo } = error as { code?: unknown; whatToDo?: unknown };
  if (typeof code === "string" && typeof whatToDo === "string") {
    const device = error instanceof DeviceError ? error.device : undefined;
    const figures = error instanceof StepError ? error.figures : undefined;
    return { code, message: error.message, whatToDo, ...given({ device, figures }) };
  }
  if (error instanceof AggregateError && error.errors.length > 0) {
    const all = error.errors.map(failureRecord);
    const leading = all.find((one) => one.code !== "FAULT") ?? all[0]!;
    return { ...leading, message: all.map((one) => one.message).join("; ") };
  }
  return (
    diskTrouble(error) ?? {
      code: "FAULT",
      message: error.message,
      whatToDo: reportIt,
      ...given({ stack: error.stack }),
    }
  );
}

const reportIt = "This is a fault of evenfield itself; please report it with `events.ndjson` of the run.";

function firstCause(error: SuppressedError): unknown {
  return error.suppressed instanceof SuppressedError ? firstCause(error.suppressed) : error.suppressed;
}

export function isDeviceFailure(failure: FailureRecord): boolean {
  return failure.device !== undefined || failure.code.startsWith("RIG_");
}
