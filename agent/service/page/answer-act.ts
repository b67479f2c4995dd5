import * as z from "zod";
import { type DeedName, deedNames } from "../deeds/person-deeds.ts";
import type { Credentials, Doorkeeper } from "./doorkeeper.ts";

/** A deed that can't be done now, and why: a sentence for who asked. */
export class DeedRefusedError extends Error {}

export interface Acting {
  readonly door: Doorkeeper;
  /** @returns what comes of it, a sentence. @throws DeedRefusedError */
  carryOut(deed: DeedName, who: string): string;
}

export interface PostRequest extends Credentials {
  readonly path: string;
  /** As the request says; it was found to be ours. */
  readonly host: string;
  readonly origin: string | undefined;
  readonly contentType: string | undefined;
  readonly body: string;
}

/** A status with a sentence, or with where the browser goes next. */
export interface PostAnswer {
  readonly status: number;
  readonly text: string;
  readonly headers?: Readonly<Record<string, string>>;
}

const who = z
  .string()
  .trim()
  .min(1)
  .max(60)
  .regex(/^[^\p{C}]+$/u);
const deedForm = z
  .strictObject({ deed: z.enum(deedNames), who, inspected: z.literal("yes").optional() })
  .refine(({ deed, inspected }) => (deed === "filter-inspected") === (inspected === "yes"));
const signInForm = z.strictObject({ token: z.string().min(1).max(500) });
const nothingForm = z.strictObject({});

export const postPaths = ["/sign-in", "/sign-out", "/deeds"] as const;

/** What is posted: a proof first, then what it is about. */
export function answerPost(request: PostRequest, { door, carryOut }: Acting): PostAnswer {
  const { path, origin, host } = request;
  if (origin !== undefined && origin !== `http://${host}`)
    return { status: 403, text: "Another site's page may not act here." };
  if (path !== "/deeds" && origin === undefined)
    return { status: 403, text: "That is for browsers; programs send their token with each request." };
  const read = readBody(request);
  if (read === undefined) return { status: 415, text: "Send a form or JSON." };
  if (path === "/sign-in") {
    const { data } = signInForm.safeParse(read);
    if (!data) return notUnderstood;
    const signed = door.signIn(data.token);
    if (signed === "too many") return tooMany;
    if (signed === "wrong") return { status: 401, text: "That is not the token." };
    return { status: 303, text: "", headers: { location: "/act", "set-cookie": signed.setCookie } };
  }
  const right = door.mayAct(request);
  if (right === "too many") return tooMany;
  if (right === "no") return { status: 401, text: "Sign in first." };
  if (right === "by session" && origin === undefined)
    return { status: 403, text: "A browser says from which page it acts." };
  if (path === "/sign-out") {
    if (!nothingForm.safeParse(read).success) return notUnderstood;
    door.signOut(request);
    return { status: 303, text: "", headers: { location: "/" } };
  }
  const { data } = deedForm.safeParse(read);
  if (!data) return notUnderstood;
  try {
    const text = carryOut(data.deed, data.who);
    return right === "by session"
      ? { status: 303, text: "", headers: { location: "/act" } }
      : { status: 200, text };
  } catch (error) {
    if (error instanceof DeedRefusedError) return { status: 409, text: error.message };
    throw error;
  }
}

const notUnderstood: PostAnswer = {
  status: 400,
  text: "That is none of the deeds, or something is missing.",
};
const tooMany: PostAnswer = { status: 429, text: "Too many wrong tokens; try again in a minute." };

function readBody({ contentType, body }: PostRequest): unknown {
  const [type = ""] = (contentType ?? "").toLowerCase().split(";", 1);
  if (type.trim() === "application/x-www-form-urlencoded") {
    const pairs = [...new URLSearchParams(body)];
    const names = new Set(pairs.map(([name]) => name));
    return names.size === pairs.length ? Object.fromEntries(pairs) : {};
  }
  if (type.trim() !== "application/json") return undefined;
  try {
    return JSON.parse(body);
  } catch {
    return {};
  }
}
