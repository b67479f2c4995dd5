import { createReadStream } from "node:fs";
import { createServer, type IncomingMessage, type ServerResponse } from "node:http";
import type { AddressInfo, Socket } from "node:net";
import { pipeline } from "node:stream/promises";
import { systemClock } from "../../../drivers/kit/clock.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import { answerRequest, type PageAnswer } from "./answer-request.ts";
import { LivePage, watchersMost } from "./live-page.ts";
import { gatherFacts, type PageSource } from "./page-facts.ts";
import { statusPage } from "./status-page.ts";

export interface ListenedPage extends AsyncDisposable {
  readonly port: number;
}

/** Who is slow is not waited for [ms], and who is many or long-winded is not heard. */
const limits = {
  headersTimeout: 5000,
  requestTimeout: 10_000,
  keepAliveTimeout: 5000,
  connectionsCheckingInterval: 1000,
  maxHeaderSize: 8192,
};
const connectionsMost = watchersMost + 40;
const bodyBytesMost = 4096;
/** Without a byte read or written [ms]. */
const idleMs = 60_000;

/**
 * Shows the page over HTTP. Port 0 takes a free one.
 * @param waits for tests: how long is waited for whom
 * @throws what the system says of the address
 */
export async function listenPage(
  at: { readonly host: string; readonly port: number },
  source: PageSource,
  log: Log,
  waits: Partial<typeof limits> = {},
): Promise<ListenedPage> {
  const sockets = new Set<Socket>();
  const live = new LivePage(() => renderPage(source), systemClock);
  const server = createServer(
    { ...limits, ...waits },
    (request, response) => void serveOne(request, response, { source, live, log }),
  );
  server.maxConnections = connectionsMost;
  server.timeout = idleMs;
  server.on("connection", (socket: Socket) => {
    sockets.add(socket);
    socket.on("close", () => sockets.delete(socket));
  });
  server.on("clientError", (error: NodeJS.ErrnoException, socket) => {
    // A browser opens connections ahead of need, and would take an answer there for that to its next request.
    if (error.code === "ERR_HTTP_REQUEST_TIMEOUT") return void socket.destroy();
    const status =
      error.code === "HPE_HEADER_OVERFLOW" ? "431 Request Header Fields Too Large" : "400 Bad Request";
    if (socket.writable) socket.end(`HTTP/1.1 ${status}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n`);
    else socket.destroy();
  });
  await new Promise<void>((resolve, reject) => {
    server.once("error", reject);
    server.listen(at.port, at.host, resolve);
  });
  server.on("error", (error) => log.warn({ error: String(error) }, "the page"));
  return {
    port: (server.address() as AddressInfo).port,
    async [Symbol.asyncDispose]() {
      live[Symbol.dispose]();
      const closed = new Promise((resolve) => server.close(resolve));
      for (const socket of sockets) socket.destroy();
      await closed;
    },
  };
}

function renderPage(source: PageSource): string | undefined {
  const facts = gatherFacts(source);
  return facts && statusPage(facts, { canAct: source.acting !== undefined });
}

/** @returns `undefined` when there is more, which is left unread */
async function readUpTo(request: IncomingMessage, bytesMost: number): Promise<string | undefined> {
  if (Number(request.headers["content-length"] ?? 0) > bytesMost) return undefined;
  const parts: Buffer[] = [];
  let bytes = 0;
  for await (const part of request as AsyncIterable<Buffer>) {
    bytes += part.length;
    if (bytes > bytesMost) return undefined;
    parts.push(part);
  }
  return Buffer.concat(parts).toString("utf8");
}

/** Never throws: a fault of the page is no reason for the service to end. */
async function serveOne(
  request: IncomingMessage,
  response: ServerResponse,
  { source, live, log }: { source: PageSource; live: LivePage; log: Log },
): Promise<void> {
  const { method = "GET", url = "" } = request;
  try {
    const { host, origin, cookie, authorization, "content-type": contentType } = request.headers;
    const readBody = () => readUpTo(request, bodyBytesMost);
    const asked = { method, target: url, host, origin, cookie, authorization, contentType, readBody };
    const answer = await answerRequest(asked, source, live);
    // What a request carries is mostly not read: with it unread the connection can't go on.
    const hasBody =
      "transfer-encoding" in request.headers || Number(request.headers["content-length"] ?? 0) !== 0;
    await send(answer, response, { isHead: method === "HEAD", mustClose: hasBody });
  } catch (error) {
    log.warn({ error: String(error) }, "a request for the page failed");
    if (response.headersSent) response.destroy();
    else
      response
        .writeHead(500, { "content-type": "text/plain; charset=utf-8" })
        .end("It could not be shown; the log says why.\n");
  }
}

async function send(
  { status, headers, body }: PageAnswer,
  response: ServerResponse,
  { isHead, mustClose }: { isHead: boolean; mustClose: boolean },
): Promise<void> {
  if (body instanceof LivePage) {
    response.writeHead(status, headers);
    return isHead ? void response.end() : body.add(response);
  }
  const bytes = typeof body === "string" ? Buffer.byteLength(body) : body.bytes;
  response.writeHead(status, {
    ...headers,
    "content-length": bytes,
    ...(mustClose ? { connection: "close" } : {}),
  });
  if (isHead) response.end();
  else if (typeof body === "string") response.end(body);
  // A file that grows meanwhile is sent as long as it was when it was asked for.
  else if (bytes === 0) response.end();
  else await pipeline(createReadStream(body.file, { end: bytes - 1 }), response);
}
