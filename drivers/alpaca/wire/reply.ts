import * as z from "zod";
import type { HttpReply } from "../../kit/http-link.ts";
import { errorFor, HttpStatusError, UnreadableReplyError } from "./errors.ts";

/**
 * The part that every JSON reply has. Keys are case-sensitive; ids may be missing, and so may the error of a
 * management reply. Everything else in a reply is ignored.
 */
const envelope = z.object({
  ClientTransactionID: z.number().optional(),
  ServerTransactionID: z.number().optional(),
  ErrorNumber: z.number().int().optional(),
  ErrorMessage: z.string().nullish(),
  Value: z.unknown().optional(),
});

export interface Asked {
  readonly device: string;
  readonly member: string;
  readonly transactionId: number;
}

export interface Answered<T> {
  readonly value: T;
  /** 0: the server gave none. */
  readonly serverTransactionId: number;
}

/**
 * A JSON reply's value, checked.
 * @throws HttpStatusError, AscomError, NotImplementedError, NotConnectedError, UnreadableReplyError
 */
export function readReply<T>(reply: HttpReply, asked: Asked, schema: z.ZodType<T>): Answered<T> {
  const { device, member } = asked;
  checkStatus(reply, asked);
  const parsed = envelope.safeParse(jsonOf(reply, asked));
  if (!parsed.success) throw unreadable(asked, parsed.error);
  const { ErrorNumber = 0, Value, ServerTransactionID = 0 } = parsed.data;
  checkTransaction(asked, parsed.data.ClientTransactionID ?? 0);
  const said = parsed.data.ErrorMessage ?? "";
  // A message without a number is an error as well: the reference client takes it so.
  if (ErrorNumber !== 0 || said !== "") throw errorFor(device, member, ErrorNumber, said);
  const value = schema.safeParse(Value);
  if (!value.success) throw unreadable(asked, value.error);
  return { value: value.data, serverTransactionId: ServerTransactionID };
}

/** A body that does not belong to this request shows a link out of step. */
export function checkTransaction(asked: Asked, echoed: number): void {
  if (echoed !== 0 && echoed !== asked.transactionId) {
    throw new MixedUpReplyError(
      asked.device,
      asked.member,
      `it answers transaction ${echoed}, not ${asked.transactionId}`,
    );
  }
}

export class MixedUpReplyError extends UnreadableReplyError {}

/** Bodies of errors may be text, HTML or a JSON problem: a line of it is told and nothing is parsed. */
export function checkStatus(reply: HttpReply, { device, member }: Asked): void {
  if (reply.status === 200) return;
  throw new HttpStatusError(device, member, reply.status, firstWords(reply.body));
}

function firstWords(body: Uint8Array): string {
  const text = new TextDecoder().decode(body.subarray(0, 4000));
  const words = text
    .replace(/<(style|script|head)\b.*?<\/\1>/gis, " ")
    .replace(/<[^>]*>/g, " ")
    .replace(/\s+/g, " ")
    .trim();
  return words.length > 200 ? `${words.slice(0, 200)}…` : words;
}

export function mediaType(reply: HttpReply): string {
  return (reply.headers["content-type"] ?? "").split(";")[0]!.trim().toLowerCase();
}

const utf8 = new TextDecoder();

function jsonOf(reply: HttpReply, { device, member }: Asked): unknown {
  try {
    return JSON.parse(utf8.decode(reply.body)) as unknown;
  } catch (error) {
    const type = mediaType(reply);
    const what = type === "application/json" ? "not JSON" : `${type || "no content type"}, not JSON`;
    throw new UnreadableReplyError(device, member, `${what}: ${firstWords(reply.body)}`, { cause: error });
  }
}

function unreadable({ device, member }: Asked, error: z.ZodError): UnreadableReplyError {
  const [issue] = error.issues;
  const where = issue?.path.join(".") ?? "";
  return new UnreadableReplyError(
    device,
    member,
    `${where === "" ? "" : `${where}: `}${issue?.message ?? "not as described"}`,
    { cause: error },
  );
}
