import { createServer, type IncomingMessage, type Server, type ServerResponse } from "node:http";
import type { AddressInfo, Socket } from "node:net";
import { expect, test } from "vitest";
import { AlpacaDevice } from "../../../../drivers/alpaca/session/device.ts";
import { AlpacaServer } from "../../../../drivers/alpaca/wire/server.ts";
import { UndiciExchange } from "../../../../drivers/alpaca/wire/undici-exchange.ts";
import { number } from "../../../../drivers/alpaca/wire/values.ts";
import { systemClock } from "../../../../drivers/kit/clock.ts";
import { DeviceLostError } from "../../../../drivers/kit/errors.ts";
import { HttpLinkError } from "../../../../drivers/kit/http-link.ts";
import { silentLog } from "../../../../drivers/kit/log.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import { imageBytes } from "../image-encoding.ts";

type Handler = (request: IncomingMessage, response: ServerResponse, body: string) => void;

/** A plain HTTP server on loopback; `sockets` are those that were ever opened to it. */
async function onServer(
  handler: Handler,
  body: (
    exchange: UndiciExchange,
    far: { port: number; sockets: Set<Socket>; server: Server },
  ) => Promise<void>,
): Promise<void> {
  const sockets = new Set<Socket>();
  const server = createServer((request, response) => {
    const chunks: Buffer[] = [];
    request.on("data", (chunk: Buffer) => chunks.push(chunk));
    request.on("end", () => handler(request, response, Buffer.concat(chunks).toString()));
  });
  server.on("connection", (socket) => sockets.add(socket));
  await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
  const { port } = server.address() as AddressInfo;
  const exchange = new UndiciExchange({ host: "127.0.0.1", port }, systemClock);
  try {
    await body(exchange, { port, sockets, server });
  } finally {
    await exchange.close();
    for (const socket of sockets) socket.destroy();
    await new Promise((resolve) => server.close(resolve));
  }
}

const signal = new AbortController().signal;
const reply = (response: ServerResponse, value: unknown) => {
  response.setHeader("content-type", "application/json");
  response.end(JSON.stringify({ ErrorNumber: 0, ErrorMessage: "", Value: value }));
};
const deviceOn = (exchange: UndiciExchange) => {
  const server = new AlpacaServer({ exchange, clock: systemClock, log: silentLog, clientId: 9, name: "hut" });
  return new AlpacaDevice(server, { name: "Camera", type: "camera", number: 0 });
};

test("a GET has its query, a PUT its form, on sockets that are kept", () => {
  const seen: string[] = [];
  return onServer(
    (request, response, body) => {
      seen.push(`${request.method} ${request.url} ${request.headers["content-type"] ?? ""} ${body}`);
      reply(response, 3);
    },
    async (exchange, { sockets }) => {
      const device = deviceOn(exchange);
      for (let i = 0; i < 5; i++) expect(await device.get("gain", number, signal)).toBe(3);
      await device.put("gain", { Gain: 12 }, signal);
      expect(seen[0]).toBe("GET /api/v1/camera/0/gain?ClientID=9&ClientTransactionID=1  ");
      expect(seen.at(-1)).toBe(
        "PUT /api/v1/camera/0/gain application/x-www-form-urlencoded Gain=12&ClientID=9&ClientTransactionID=6",
      );
      expect(sockets.size).toBeLessThanOrEqual(2);
    },
  );
});

test("a socket that the server dropped meanwhile costs a read nothing", () => {
  let count = 0;
  return onServer(
    (_, response) => {
      count++;
      reply(response, count);
    },
    async (exchange, { sockets }) => {
      const device = deviceOn(exchange);
      expect(await device.get("gain", number, signal)).toBe(1);
      for (const socket of sockets) socket.destroy();
      expect(await device.get("gain", number, signal)).toBe(2);
    },
  );
});

test("a body cut in its middle is no body; asked again it comes", () => {
  let count = 0;
  const image = imageBytes(
    [
      [1, 2, 3],
      [4, 5, 6],
    ],
    2,
  );
  return onServer(
    (_, response) => {
      response.writeHead(200, { "content-type": "application/imagebytes", "content-length": image.length });
      if (++count === 1) {
        response.write(image.subarray(0, 50));
        setTimeout(() => response.destroy(), 20);
      } else {
        response.end(image);
      }
    },
    async (exchange) => {
      const { pixelsAdu, widthPx } = await deviceOn(exchange).image(65535, 5, signal);
      expect([...pixelsAdu, widthPx]).toEqual([1, 2, 3, 4, 5, 6, 3]);
      expect(count).toBe(2);
    },
  );
});

test("images that follow each other share memory on their way, never in the frame", () => {
  let count = 0;
  return onServer(
    (_, response) => {
      count++;
      response.setHeader("content-type", "application/imagebytes");
      const image = imageBytes(
        [
          [count, 2],
          [3, 4],
          [5, count],
        ].slice(0, count === 3 ? 2 : 3),
        2,
      );
      response.setHeader("content-length", image.length);
      response.end(image);
    },
    async (exchange) => {
      const camera = deviceOn(exchange);
      const frames = [];
      for (let i = 0; i < 4; i++) frames.push(await camera.image(65535, 5, signal));
      expect(frames.map(({ pixelsAdu }) => [...pixelsAdu])).toEqual([
        [1, 2, 3, 4, 5, 1],
        [2, 2, 3, 4, 5, 2],
        [3, 2, 3, 4],
        [4, 2, 3, 4, 5, 4],
      ]);
    },
  );
});

test("a virtual clock stands still while a real server takes its time", () =>
  onServer(
    (_, response) => void setTimeout(() => reply(response, 3), 60),
    async (exchange, { port }) => {
      const clock = new VirtualClock(0);
      const held = new UndiciExchange({ host: "127.0.0.1", port }, clock);
      await using server = new AlpacaServer({
        exchange: held,
        clock,
        log: silentLog,
        clientId: 9,
        name: "hut",
      });
      const device = new AlpacaDevice(server, { name: "Camera", type: "camera", number: 0 });
      expect(await clock.drive(device.get("gain", number, signal))).toBe(3);
      expect([clock.nowMs(), clock.pendingTimers]).toEqual([0, 0]);
      await exchange.close();
    },
  ));

test("a command whose answer is cut is told and not sent again", () => {
  let count = 0;
  return onServer(
    (_, response) => {
      count++;
      response.destroy();
    },
    async (exchange) => {
      await expect(
        deviceOn(exchange).put("startexposure", { Duration: 1, Light: true }, signal),
      ).rejects.toBeInstanceOf(DeviceLostError);
      expect(count).toBe(1);
    },
  );
});

test("an abort ends a request at once with its reason", () =>
  onServer(
    () => {},
    async (exchange) => {
      const stop = new AbortController();
      setTimeout(() => stop.abort(new Error("enough")), 30);
      const asked = exchange.exchange({ method: "GET", path: "/", signal: stop.signal });
      await expect(asked).rejects.toThrow("enough");
    },
  ));

test("a server that is not there, and one that comes back on the same port", () =>
  onServer(
    (_, response) => reply(response, 5),
    async (exchange, { port, server, sockets }) => {
      expect(await deviceOn(exchange).get("gain", number, signal)).toBe(5);
      for (const socket of sockets) socket.destroy();
      await new Promise((resolve) => server.close(resolve));
      const error = await exchange
        .exchange({ method: "GET", path: "/", signal })
        .catch((thrown: unknown) => thrown);
      expect(error).toBeInstanceOf(HttpLinkError);
      await new Promise<void>((resolve) => server.listen(port, "127.0.0.1", resolve));
      expect(await deviceOn(exchange).get("gain", number, signal)).toBe(5);
    },
  ));

test("a reply longer than allowed is cut off, declared or not", () =>
  onServer(
    (request, response) => {
      if (request.url === "/declared") response.setHeader("content-length", 5_000_000);
      response.on("error", () => {});
      response.end(new Uint8Array(5_000_000));
    },
    async (exchange) => {
      for (const path of ["/declared", "/chunked"])
        await expect(exchange.exchange({ method: "GET", path, signal })).rejects.toThrow(/a reply of/);
    },
  ));
