import { createSocket } from "node:dgram";
import { connect } from "node:net";
import { expect, test } from "vitest";
import { cutReply, stalledReply } from "../../../agent/rehearsal/faults/alpaca-faults.ts";
import { discoverServers } from "../../../drivers/alpaca/wire/discovery.ts";
import { type Clock, systemClock } from "../../../drivers/kit/clock.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import { type Simulator, startSimulator } from "../../../sim-devices/start-simulator.ts";
import { smallSpec } from "../sim-session.ts";

/** Real sockets and real time: the HTTP around the devices, and what only sockets can show. */
const start = (options: { alpacaDiscoveryPort?: number; clock?: Clock } = {}) =>
  startSimulator({ spec: smallSpec(), clock: systemClock, alpacaPort: 0, ...options });

const urlOf = (simulator: Simulator, path: string) => `http://127.0.0.1:${simulator.alpaca!.port}${path}`;
const form = (text: string) => ({
  method: "PUT",
  body: text,
  headers: { "content-type": "application/x-www-form-urlencoded" },
});

test("an exposure by plain HTTP requests, its image as bytes", async () => {
  await using simulator = await start();
  const camera = urlOf(simulator, "/api/v1/camera/0");
  await fetch(`${camera}/connected`, form("Connected=true"));
  const told = await fetch(`${camera}/startexposure`, form("Duration=0.05&Light=true&ClientTransactionID=3"));
  expect(told.headers.get("content-type")).toBe("application/json; charset=utf-8");
  expect(await told.json()).toMatchObject({ ErrorNumber: 0, ClientTransactionID: 3 });
  for (;;) {
    const { Value } = (await (await fetch(`${camera}/imageready`)).json()) as { Value: boolean };
    if (Value) break;
    await new Promise((resolve) => setTimeout(resolve, 20));
  }
  const image = await fetch(`${camera}/imagearray`, { headers: { accept: "application/imagebytes" } });
  expect(image.headers.get("content-type")).toBe("application/imagebytes");
  const bytes = await image.arrayBuffer();
  expect(Number(image.headers.get("content-length"))).toBe(bytes.byteLength);
  expect([new DataView(bytes).getInt32(32, true), new DataView(bytes).getInt32(36, true)]).toEqual([64, 48]);
});

test("refused requests are told in plain text, and a form too long breaks nothing", async () => {
  await using simulator = await start();
  const wrong = await fetch(urlOf(simulator, "/api/v1/camera/7/name"));
  expect([wrong.status, wrong.headers.get("content-type")]).toEqual([400, "text/plain; charset=utf-8"]);
  expect(await wrong.text()).toBe("there is no camera 7");
  const long = await fetch(urlOf(simulator, "/api/v1/camera/0/connected"), form("x".repeat(200_000))).catch(
    () => undefined,
  );
  expect(long?.status ?? 500).toBe(500);
  expect((await fetch(urlOf(simulator, "/api/v1/camera/0/name"))).status).toBe(200);
});

test("a reply cut half way and one that stalls look so to a client", async () => {
  await using simulator = await start();
  const rig = { world: simulator.world, alpacaServer: simulator.alpacaServer };
  const end = cutReply({ member: "description" }).begin(rig);
  const url = urlOf(simulator, "/api/v1/camera/0/description");
  await expect(fetch(url).then((reply) => reply.arrayBuffer())).rejects.toThrow();
  end?.();
  stalledReply({ member: "description" }, 0.3).begin(rig);
  const startMs = performance.now();
  expect((await fetch(url)).status).toBe(200);
  expect(performance.now() - startMs).toBeGreaterThan(280);
});

test("a restart breaks the links, refuses for a while, and answers again", async () => {
  const clock = new VirtualClock(Date.parse(smallSpec().startUtc)); // the server is away for as long as we like
  await using simulator = await start({ clock });
  const url = urlOf(simulator, "/api/v1/camera/0/name");
  stalledReply({ member: "name" }, 5).begin({ world: simulator.world, alpacaServer: simulator.alpacaServer });
  const broken = fetch(url);
  await new Promise((resolve) => setTimeout(resolve, 100));
  simulator.alpacaServer.restart(0.5);
  await expect(broken).rejects.toThrow();
  await expect(fetch(url)).rejects.toThrow();
  await clock.drive(clock.sleep(10)); // longer than the stall, too
  let again: Response | undefined;
  while (again === undefined) again = await fetch(url).catch(() => undefined); // it may take a moment to listen
  expect(again.status).toBe(200);
});

const discoveryPort = 32_291;

test("whoever asks on loopback is told the port; other words are met with silence", async () => {
  await using simulator = await start({ alpacaDiscoveryPort: discoveryPort });
  const { port } = simulator.alpaca!;
  const found = await untilFound([port], { questions: 2 });
  for (const { host } of found) expect(["127.0.0.1", "::1"]).toContain(host.replace(/%.*$/, ""));
  const answers = await ask("127.0.0.1", ["alpacadiscover", "hello", "alpacadiscovery1 and more to come"], 1);
  expect(answers).toEqual([JSON.stringify({ AlpacaPort: port })]);
});

/** Asks again and again until these ports are told on loopback: an answer may come late on a busy machine. */
async function untilFound(ports: readonly number[], options: { questions?: number } = {}) {
  for (;;) {
    const found = await discoverServers(
      { clock: systemClock, log: silentLog, port: discoveryPort, waitSeconds: 0.2, ...options },
      new AbortController().signal,
    );
    if (ports.every((port) => found.some((one) => one.host === "127.0.0.1" && one.port === port)))
      return found;
  }
}

/** Waits until so many answers have come, and a little longer for more. */
async function ask(address: string, questions: readonly string[], answerCount: number): Promise<string[]> {
  const socket = createSocket("udp4");
  const answers: string[] = [];
  const enough = Promise.withResolvers<void>();
  if (answerCount === 0) enough.resolve();
  socket.on("message", (datagram) => {
    answers.push(datagram.toString());
    if (answers.length >= answerCount) enough.resolve();
  });
  for (const question of questions) socket.send(question, discoveryPort, address);
  await enough.promise;
  await new Promise((resolve) => setTimeout(resolve, 200));
  socket.close();
  return answers;
}

test("two simulators share the discovery port, and both answer a broadcast", async () => {
  await using first = await start({ alpacaDiscoveryPort: discoveryPort });
  await using second = await start({ alpacaDiscoveryPort: discoveryPort });
  await untilFound([first.alpaca!.port, second.alpaca!.port]);
});

test("after closing nothing listens any more", async () => {
  const simulator = await start({ alpacaDiscoveryPort: discoveryPort });
  const { port } = simulator.alpaca!;
  await simulator.close();
  const refused = await new Promise((resolve) => {
    connect(port, "127.0.0.1", () => resolve(false)).on("error", () => resolve(true));
  });
  expect(refused).toBe(true);
  expect(await ask("127.0.0.1", ["alpacadiscovery1"], 0)).toEqual([]);
});
