import { createHash, randomBytes, timingSafeEqual } from "node:crypto";
import { readSecret } from "../notices/secret-file.ts";

/** What a request brings to prove that it may act. */
export interface Credentials {
  readonly cookie: string | undefined;
  readonly authorization: string | undefined;
}

const cookieName = "__Host-evenfield";
const sessionMs = 12 * 3_600_000;
const sessionsMost = 20;
/** Of wrong tokens, in so long [ms]; then others are not told that they are wrong until that is over. */
const wrongMost = 5;
const wrongWithinMs = 60_000;
const tokenLengthLeast = 24;

interface Session {
  readonly tokenSum: Buffer;
  readonly untilMs: number;
}

/** Lets in who knows the token, which stands in a file; a changed file ends every session. */
export class Doorkeeper {
  readonly #sessions = new Map<string, Session>();
  #wrongMs: number[] = [];

  constructor(
    private readonly tokenFile: string,
    private readonly monotonicMs: () => number,
  ) {}

  /** @throws Error that says what is wrong with the file, never what is in it */
  check(): void {
    this.#tokenSum();
  }

  /** @returns the cookie's header, or why not */
  signIn(token: string): { readonly setCookie: string } | "wrong" | "too many" {
    const judged = this.#judge(token);
    if (judged !== "right") return judged;
    const id = randomBytes(32).toString("base64url");
    const nowMs = this.monotonicMs();
    for (const [key, { untilMs }] of this.#sessions) if (untilMs <= nowMs) this.#sessions.delete(key);
    const [oldest] = this.#sessions.keys();
    if (this.#sessions.size >= sessionsMost && oldest !== undefined) this.#sessions.delete(oldest);
    this.#sessions.set(sumOf(id).toString("hex"), { tokenSum: this.#tokenSum(), untilMs: nowMs + sessionMs });
    const rules = `Path=/; Secure; HttpOnly; SameSite=Strict; Max-Age=${sessionMs / 1000}`;
    return { setCookie: `${cookieName}=${id}; ${rules}` };
  }

  signOut({ cookie }: Credentials): void {
    const key = sessionKey(cookie);
    if (key !== undefined) this.#sessions.delete(key);
  }

  /** By the token itself, as programs do, or by a session, as browsers do; a cookie is proof only of a browser. */
  mayAct({ cookie, authorization }: Credentials): "by token" | "by session" | "no" | "too many" {
    const bearer = /^Bearer (\S+)$/i.exec(authorization ?? "")?.[1];
    if (bearer !== undefined) {
      const judged = this.#judge(bearer);
      if (judged === "right") return "by token";
      return judged === "wrong" ? "no" : judged;
    }
    const key = sessionKey(cookie);
    const session = key === undefined ? undefined : this.#sessions.get(key);
    if (!session || session.untilMs <= this.monotonicMs()) return "no";
    return timingSafeEqual(session.tokenSum, this.#tokenSum()) ? "by session" : "no";
  }

  #judge(token: string): "right" | "wrong" | "too many" {
    const nowMs = this.monotonicMs();
    this.#wrongMs = this.#wrongMs.filter((wrongMs) => wrongMs > nowMs - wrongWithinMs);
    // Whoever guesses must not be able to keep out who knows it; what stands against guessing is the token's length.
    if (timingSafeEqual(sumOf(token), this.#tokenSum())) return "right";
    if (this.#wrongMs.length >= wrongMost) return "too many";
    this.#wrongMs.push(nowMs);
    return "wrong";
  }

  #tokenSum(): Buffer {
    const token = readSecret(this.tokenFile);
    if (token.length < tokenLengthLeast)
      throw new Error(
        `the token in ${this.tokenFile} is shorter than ${tokenLengthLeast} characters: make one by \`openssl rand -base64 32\``,
      );
    return sumOf(token);
  }
}

function sumOf(text: string): Buffer {
  return createHash("sha256").update(text).digest();
}

function sessionKey(cookie: string | undefined): string | undefined {
  for (const one of (cookie ?? "").split(";")) {
    const [name, value] = one.trim().split("=", 2);
    if (name === cookieName && value) return sumOf(value).toString("hex");
  }
  return undefined;
}
