import { createServer, type IncomingMessage, type Server, type ServerResponse } from "node:http";
import type { Socket } from "node:net";
import type { SimAlpacaServer } from "./alpaca-server.ts";
import { type SimReply, textReply } from "./reply.ts";

/** A form of the protocol is short. */
const formBytesMax = 100_000;

/** Serves over HTTP on loopback only, both families. Port 0 takes a free one. */
export async function listenHttp(
  server: SimAlpacaServer,
  port: number,
): Promise<{ readonly port: number; close(): Promise<void> }> {
  const sockets = new Set<Socket>();
  const serve = (request: IncomingMessage, response: ServerResponse) => {
    if (server.isDown) request.socket.destroy();
    else void handle(server, request, response);
  };
  const v4 = await listening("127.0.0.1", port, serve, sockets);
  const taken = portOf(v4);
  const v6 = await listening("::1", taken, serve, sockets).catch(() => undefined); // a machine without IPv6
  const breakLinks = () => {
    for (const socket of sockets) socket.destroy();
  };
  const stopListening = server.onDown(breakLinks);
  return {
    port: taken,
    close: async () => {
      stopListening();
      breakLinks();
      for (const http of v6 ? [v4, v6] : [v4]) await new Promise((closed) => http.close(closed));
    },
  };
}

function listening(
  host: string,
  port: number,
  serve: (request: IncomingMessage, response: ServerResponse) => void,
  sockets: Set<Socket>,
): Promise<Server> {
  return new Promise((resolve, reject) => {
    const http = createServer(serve);
    http.on("connection", (socket: Socket) => {
      sockets.add(socket);
      socket.on("close", () => sockets.delete(socket));
    });
    http.once("error", reject);
    http.listen(port, host, () => resolve(http));
  });
}

function portOf(http: Server): number {
  const address = http.address();
  if (address === null || typeof address === "string") throw new Error("no TCP address");
  return address.port;
}

async function handle(
  server: SimAlpacaServer,
  request: IncomingMessage,
  response: ServerResponse,
): Promise<void> {
  const url = request.url ?? "/";
  const at = url.indexOf("?");
  let reply: SimReply;
  try {
    reply = await server.answer({
      method: request.method ?? "GET",
      path: at < 0 ? url : url.slice(0, at),
      query: at < 0 ? "" : url.slice(at + 1),
      form: await bodyOf(request),
      accept: request.headers.accept ?? "",
    });
  } catch (error) {
    reply = textReply(500, String(error));
  }
  response.writeHead(reply.status, {
    "content-type": reply.contentType,
    "content-length": reply.body.length,
  });
  if (reply.cutAfterBytes === undefined) response.end(reply.body);
  else response.write(reply.body.subarray(0, reply.cutAfterBytes), () => request.socket.destroy());
}

async function bodyOf(request: IncomingMessage): Promise<string> {
  const chunks: Buffer[] = [];
  let bytes = 0;
  for await (const chunk of request as AsyncIterable<Buffer>) {
    bytes += chunk.length;
    if (bytes > formBytesMax) throw new RangeError("a form this large is none of this protocol");
    chunks.push(chunk);
  }
  return Buffer.concat(chunks).toString("utf8");
}
