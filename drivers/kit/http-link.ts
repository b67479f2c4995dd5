/** One HTTP request, with nothing of a protocol in it. */
export interface HttpRequest {
  readonly method: "GET" | "PUT";
  /** Begins with a slash; without the query. */
  readonly path: string;
  /** Encoded, without the question mark. */
  readonly query?: string;
  /** Sent as `application/x-www-form-urlencoded`. */
  readonly form?: string;
  readonly accept?: string;
  /** Longer replies are cut off with an error [bytes]. */
  readonly replyBytesMax?: number;
  /** Memory that the body may be put into if it fits, so that large ones need no new memory each time. */
  readonly into?: Uint8Array | undefined;
  readonly signal: AbortSignal;
}

export interface HttpReply {
  readonly status: number;
  /** Names in lower case. */
  readonly headers: Readonly<Record<string, string>>;
  /** Whole: a body that ends early is an error of the exchange, never a short reply. */
  readonly body: Uint8Array;
}

/**
 * Carries requests to one server: over sockets, or in memory to a simulated one. Nothing is ever sent twice here;
 * whether a request may be repeated is for the protocol to know.
 */
export interface HttpExchange {
  /** @throws HttpLinkError when no whole reply came; the signal's reason if aborted */
  exchange(request: HttpRequest): Promise<HttpReply>;
  /** Closes what is open, so that the next request goes out on a link that nothing else has used. */
  reset(): Promise<void>;
  /** Safe in any state, any number of times. */
  close(): Promise<void>;
}

/** No whole reply came. */
export class HttpLinkError extends Error {
  override readonly name = "HttpLinkError";
  constructor(
    message: string,
    /** Whether the request surely never reached the server, so that sending it again does nothing twice. */
    readonly neverSent: boolean,
    options?: ErrorOptions,
  ) {
    super(message, options);
  }
}
