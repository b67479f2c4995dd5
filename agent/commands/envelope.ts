import { z } from "zod";
import packageFile from "../../package.json";
import { type ExitCode, exitCodes } from "../run/record/exit-codes.ts";

/** What each exit code is called for scripts. */
const codeNames = {
  [exitCodes.done]: "DONE",
  [exitCodes.fault]: "FAULT",
  [exitCodes.wrongInput]: "WRONG_INPUT",
  [exitCodes.verdictBad]: "VERDICT_BAD",
  [exitCodes.safety]: "SAFETY",
  [exitCodes.deviceFailed]: "DEVICE_FAILED",
  [exitCodes.notRestored]: "NOT_RESTORED",
  [exitCodes.nothingMade]: "NOTHING_MADE",
  [exitCodes.stopped]: "STOPPED",
} as const satisfies Record<ExitCode, string>;

/** What `--json` prints: one object for every command and every failure, usage errors included. */
export const envelopeSchema = z
  .strictObject({
    tool: z.literal("evenfield"),
    version: z.string().describe("of the program"),
    command: z.string().describe("that was called; empty if none of that name exists"),
    ended: z
      .enum(["done", "failed"])
      .describe("done: it came to its result, whatever that is worth; failed: it did not"),
    exitCode: z.number().int().describe("that the process ends with"),
    code: z.enum(Object.values(codeNames) as [string, ...string[]]).describe("the exit code by name"),
    happened: z.string().nullable().describe("of a failure: what happened, a sentence"),
    state: z.string().nullable().describe("of a failure: the state that things are in now"),
    whatToDo: z.string().nullable().describe("of a failure: what to do next"),
    result: z.looseObject({}).nullable().describe("of the command; null after a failure"),
  })
  .describe("what --json prints");

export type Envelope = z.infer<typeof envelopeSchema>;

interface Told {
  readonly happened: string;
  readonly state: string;
  readonly whatToDo: string;
}

export function doneEnvelope(
  command: string,
  { exitCode, result }: { readonly exitCode: ExitCode; readonly result: object },
): Envelope {
  const nothing = { happened: null, state: null, whatToDo: null };
  return { ...head(command, exitCode), ended: "done", ...nothing, result: { ...result } };
}

export function failedEnvelope(
  command: string,
  { exitCode, told }: { readonly exitCode: ExitCode; readonly told: Told },
): Envelope {
  const { happened, state, whatToDo } = told;
  return { ...head(command, exitCode), ended: "failed", happened, state, whatToDo, result: null };
}

/** Of a command line that could not be understood. */
export function usageEnvelope(command: string, message: string): Envelope {
  const told = {
    happened: message,
    state: "Nothing was done.",
    whatToDo: `\`evenfield ${command === "" ? "COMMAND" : command} --help\` shows how it is used.`,
  };
  return failedEnvelope(command, { exitCode: exitCodes.wrongInput, told });
}

/** One line. */
export function envelopeText(envelope: Envelope): string {
  return `${JSON.stringify(envelope)}\n`;
}

function head(command: string, exitCode: ExitCode) {
  return {
    tool: "evenfield",
    version: packageFile.version,
    command,
    exitCode,
    code: codeNames[exitCode],
  } as const;
}
