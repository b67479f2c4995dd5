import { Pool } from "undici/index.js"; // the bare name is a stub inside the runtime
import type { Clock } from "../kit/clock.ts";
import { type HttpExchange, HttpLinkError, type HttpReply, type HttpRequest } from "../kit/http-link.ts";

/** A device each may be asked at the same time, and one image is on its way; small servers take no more. */
const connectionsMax = 4;
/** Embedded servers drop idle sockets after a few seconds, and a command on a dropped one is lost [ms]. */
const keepAliveMs = 2000;
const replyBytesMaxDefault = 1_000_000;

/** HTTP over one keep-alive pool of sockets to one server. The time limits are the caller's, by its signals. */
export class UndiciExchange implements HttpExchange {
  readonly #origin: string;
  readonly #clock: Clock;
  #pool: Pool;

  constructor(address: { readonly host: string; readonly port: number }, clock: Clock) {
    // An IPv6 address needs brackets, and its scope must not stand in the Host header.
    const host = address.host.includes(":") ? `[${address.host.replace(/%.*$/, "")}]` : address.host;
    this.#origin = `http://${host}:${address.port}`;
    this.#clock = clock;
    this.#pool = this.#open();
  }

  #open(): Pool {
    return new Pool(this.#origin, {
      connections: connectionsMax,
      pipelining: 1,
      keepAliveTimeout: keepAliveMs,
      headersTimeout: 0, // our clock's deadlines rule, and an old driver may answer when the motion has ended
      bodyTimeout: 0,
    });
  }

  exchange(request: HttpRequest): Promise<HttpReply> {
    return this.#clock.hold(this.#exchange(request));
  }

  async #exchange(request: HttpRequest): Promise<HttpReply> {
    const { method, path, query, form, accept, signal } = request;
    signal.throwIfAborted();
    try {
      const reply = await this.#pool.request({
        method,
        path: query === undefined || query === "" ? path : `${path}?${query}`,
        headers: {
          accept: accept ?? "application/json",
          ...(form === undefined ? {} : { "content-type": "application/x-www-form-urlencoded" }),
        },
        ...(form === undefined ? {} : { body: form }),
        signal,
      });
      const headers = Object.fromEntries(
        Object.entries(reply.headers).map(([name, value]) => [name, String(value)]),
      );
      const body = await wholeBody(
        reply.body,
        Number(headers["content-length"] ?? Number.NaN),
        request.replyBytesMax ?? replyBytesMaxDefault,
        request.into,
      );
      return { status: reply.statusCode, headers, body };
    } catch (error) {
      signal.throwIfAborted();
      const code = (error as { code?: string }).code ?? "";
      const neverSent = ["ECONNREFUSED", "ENOTFOUND", "EHOSTUNREACH", "UND_ERR_CONNECT_TIMEOUT"].includes(
        code,
      );
      throw new HttpLinkError(`${this.#origin}: ${textOf(error)}`, neverSent, { cause: error });
    }
  }

  async reset(): Promise<void> {
    const old = this.#pool;
    this.#pool = this.#open();
    await old.destroy();
  }

  async close(): Promise<void> {
    await this.#pool.destroy();
  }
}

/** Into one array of the declared length at once: joining chunks later would copy an image twice. */
async function wholeBody(
  chunks: AsyncIterable<Uint8Array>,
  declaredBytes: number,
  bytesMax: number,
  into: Uint8Array | undefined,
): Promise<Uint8Array> {
  if (declaredBytes > bytesMax) throw new RangeError(`a reply of ${declaredBytes} bytes`);
  const fits = into !== undefined && declaredBytes <= into.length;
  let whole = fits ? into : new Uint8Array(Number.isFinite(declaredBytes) ? declaredBytes : 4096);
  let length = 0;
  for await (const chunk of chunks) {
    if (length + chunk.length > bytesMax) throw new RangeError(`a reply of more than ${bytesMax} bytes`);
    if (length + chunk.length > whole.length) {
      const larger = new Uint8Array(Math.max(2 * whole.length, length + chunk.length));
      larger.set(whole.subarray(0, length));
      whole = larger;
    }
    whole.set(chunk, length);
    length += chunk.length;
  }
  return whole.subarray(0, length);
}

function textOf(error: unknown): string {
  if (!(error instanceof Error)) return String(error);
  return error.message === "" ? error.name : error.message; // an AggregateError of refused addresses has none
}
