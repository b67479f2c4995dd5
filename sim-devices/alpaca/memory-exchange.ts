import {
  type HttpExchange,
  HttpLinkError,
  type HttpReply,
  type HttpRequest,
} from "../../drivers/kit/http-link.ts";
import type { SimAlpacaServer } from "./alpaca-server.ts";
import { textReply } from "./reply.ts";

/** Reaches a simulated server in memory, with the failures that sockets would show. */
export function memoryExchange(server: SimAlpacaServer): HttpExchange {
  return {
    exchange: (request) => exchange(server, request),
    reset: () => Promise.resolve(),
    close: () => Promise.resolve(),
  };
}

async function exchange(server: SimAlpacaServer, request: HttpRequest): Promise<HttpReply> {
  const { method, path, query = "", form = "", accept = "application/json", signal } = request;
  signal.throwIfAborted();
  if (server.isDown) throw new HttpLinkError("connection refused", true);
  const broken = Promise.withResolvers<never>();
  broken.promise.catch(() => {});
  const onAbort = () => broken.reject(signal.reason);
  signal.addEventListener("abort", onAbort, { once: true });
  const stopListening = server.onDown(() => broken.reject(new HttpLinkError("other side closed", false)));
  try {
    const answering = server.answer({ method, path, query, form, accept }).catch((error: unknown) => {
      return textReply(500, String(error));
    });
    const reply = await Promise.race([answering, broken.promise]);
    if (reply.cutAfterBytes !== undefined) throw new HttpLinkError("other side closed", false);
    return { status: reply.status, headers: { "content-type": reply.contentType }, body: reply.body };
  } finally {
    signal.removeEventListener("abort", onAbort);
    stopListening();
  }
}
