import { type Dispatcher, Pool } from "undici/index.js"; // the bare name is a stub inside the runtime
import type { Clock } from "../../kit/clock.ts";
import { type HttpExchange, HttpLinkError, type HttpReply, type HttpRequest } from "../../kit/http-link.ts";

/** How many are open at a time is the devices' turns' affair; what goes past the queue finds one too. */
const connectionsMax = 40;
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

  #exchange(request: HttpRequest): Promise<HttpReply> {
    const { method, path, query, form, accept, signal } = request;
    return new Promise((resolve, reject) => {
      if (signal.aborted) return reject(signal.reason);
      const receiver = new Receiver(request, this.#origin, resolve, reject);
      this.#pool.dispatch(
        {
          method,
          path: query === undefined || query === "" ? path : `${path}?${query}`,
          headers:
            form === undefined
              ? { accept: accept ?? "application/json" }
              : { accept: accept ?? "application/json", "content-type": "application/x-www-form-urlencoded" },
          ...(form === undefined ? {} : { body: form }),
        },
        receiver,
      );
    });
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

/**
 * Takes one reply as it comes, without a stream in between. The body goes into one array of the declared length at
 * once: joining chunks later would copy an image twice.
 */
class Receiver implements Dispatcher.DispatchHandler {
  readonly #request: HttpRequest;
  readonly #origin: string;
  readonly #resolve: (reply: HttpReply) => void;
  readonly #reject: (reason: unknown) => void;
  readonly #onAbort = () => {
    this.#controller?.abort(asError(this.#request.signal.reason));
    this.#fail(this.#request.signal.reason);
  };
  #controller: Dispatcher.DispatchController | undefined;
  #status = 0;
  #headers: Record<string, string> = {};
  #body: Uint8Array = new Uint8Array(0);
  #length = 0;

  constructor(
    request: HttpRequest,
    origin: string,
    resolve: (reply: HttpReply) => void,
    reject: (reason: unknown) => void,
  ) {
    this.#request = request;
    this.#origin = origin;
    this.#resolve = resolve;
    this.#reject = reject;
    request.signal.addEventListener("abort", this.#onAbort, { once: true });
  }

  get #bytesMax(): number {
    return this.#request.replyBytesMax ?? replyBytesMaxDefault;
  }

  onRequestStart(controller: Dispatcher.DispatchController): void {
    this.#controller = controller;
    if (this.#request.signal.aborted) controller.abort(asError(this.#request.signal.reason));
  }

  onResponseStart(
    controller: Dispatcher.DispatchController,
    status: number,
    headers: Record<string, string | string[] | undefined>,
  ): void {
    if (status < 200) return;
    this.#status = status;
    for (const name in headers) this.#headers[name] = String(headers[name]);
    const declaredBytes = Number(headers["content-length"] ?? Number.NaN);
    if (declaredBytes > this.#bytesMax) {
      controller.abort(new RangeError(`a reply of ${declaredBytes} bytes`));
      return;
    }
    const { into } = this.#request;
    const fits = into !== undefined && declaredBytes <= into.length;
    this.#body = fits ? into : new Uint8Array(Number.isFinite(declaredBytes) ? declaredBytes : 4096);
  }

  onResponseData(controller: Dispatcher.DispatchController, chunk: Uint8Array): void {
    const length = this.#length + chunk.length;
    if (length > this.#bytesMax) {
      controller.abort(new RangeError(`a reply of more than ${this.#bytesMax} bytes`));
      return;
    }
    if (length > this.#body.length) {
      const larger = new Uint8Array(Math.max(2 * this.#body.length, length));
      larger.set(this.#body.subarray(0, this.#length));
      this.#body = larger;
    }
    this.#body.set(chunk, this.#length);
    this.#length = length;
  }

  onResponseEnd(): void {
    this.#request.signal.removeEventListener("abort", this.#onAbort);
    const body = this.#body.subarray(0, this.#length);
    this.#resolve({ status: this.#status, headers: this.#headers, body });
  }

  onResponseError(_: Dispatcher.DispatchController, error: Error): void {
    const code = (error as { code?: string }).code ?? "";
    this.#fail(
      new HttpLinkError(`${this.#origin}: ${textOf(error)}`, neverSentCodes.has(code), { cause: error }),
    );
  }

  #fail(reason: unknown): void {
    this.#request.signal.removeEventListener("abort", this.#onAbort);
    this.#reject(reason);
  }
}

const neverSentCodes = new Set(["ECONNREFUSED", "ENOTFOUND", "EHOSTUNREACH", "UND_ERR_CONNECT_TIMEOUT"]);

function asError(reason: unknown): Error {
  return reason instanceof Error ? reason : new Error(String(reason));
}

function textOf(error: unknown): string {
  if (!(error instanceof Error)) return String(error);
  return error.message === "" ? error.name : error.message; // an AggregateError of refused addresses has none
}
