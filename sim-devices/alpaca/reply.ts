/** What goes back over HTTP, or would. */
export interface SimReply {
  readonly status: number;
  readonly contentType: string;
  readonly body: Uint8Array;
  /** Fault: the link breaks after so many bytes of the body. */
  readonly cutAfterBytes?: number;
}

export interface SimRequest {
  readonly method: string;
  readonly path: string;
  /** Encoded, without the question mark. */
  readonly query: string;
  /** The body as it came. */
  readonly form: string;
  readonly accept: string;
}

const utf8 = new TextEncoder();

export function jsonReply(value: object): SimReply {
  return jsonTextReply(JSON.stringify(value));
}

export function jsonTextReply(json: string): SimReply {
  return { status: 200, contentType: "application/json; charset=utf-8", body: utf8.encode(json) };
}

export function textReply(status: number, text: string): SimReply {
  return { status, contentType: "text/plain; charset=utf-8", body: utf8.encode(text) };
}

export function htmlReply(status: number, html: string): SimReply {
  return { status, contentType: "text/html; charset=utf-8", body: utf8.encode(html) };
}
