import { createSocket } from "node:dgram";
import type { AddressInfo } from "node:net";
import { expect, test } from "vitest";
import {
  broadcastOf,
  type DiscoveryTarget,
  discoverServers,
  discoveryTargets,
} from "../../../../drivers/alpaca/wire/discovery.ts";
import { systemClock } from "../../../../drivers/kit/clock.ts";
import { silentLog } from "../../../../drivers/kit/log.ts";

const signal = new AbortController().signal;

/** Answers the question at one loopback address as the reference describes. */
async function responder(address: string, answer: (question: string) => string | undefined, wantedPort = 0) {
  const socket = createSocket({ type: "udp4", reuseAddr: true });
  const questions: string[] = [];
  socket.on("message", (datagram, from) => {
    questions.push(datagram.toString("ascii"));
    const text = answer(questions.at(-1)!);
    if (text !== undefined) socket.send(text, from.port, from.address);
  });
  await new Promise<void>((resolve) => socket.bind(wantedPort, address, resolve));
  return {
    port: (socket.address() as AddressInfo).port,
    questions,
    [Symbol.asyncDispose]: () => new Promise<void>((resolve) => socket.close(() => resolve())),
  };
}

const ask = (port: number, targets: readonly DiscoveryTarget[]) =>
  discoverServers({ clock: systemClock, log: silentLog, port, waitSeconds: 0.15, targets }, signal);
const here = [{ family: "udp4", address: "127.0.0.1" }] as const;

test("the question is the standard's, and the answer's port and sender are the server", async () => {
  await using far = await responder("127.0.0.1", () =>
    JSON.stringify({ AlpacaPort: 11111, Extra: "ignored" }),
  );
  expect(await ask(far.port, here)).toEqual([{ host: "127.0.0.1", port: 11111 }]);
  expect(far.questions).toEqual(["alpacadiscovery1", "alpacadiscovery1"]);
});

test.each([
  "nonsense",
  "{}",
  '{"alpacaport":11111}',
  '{"AlpacaPort":"11111"}',
  '{"AlpacaPort":0}',
  "alpacadiscovery1",
])("%s is no answer", async (answer) => {
  await using far = await responder("127.0.0.1", () => answer);
  expect(await ask(far.port, here)).toEqual([]);
});

test("the loopback broadcast reaches a server on this machine", async () => {
  await using far = await responder("127.255.255.255", () => '{"AlpacaPort":8080}');
  const found = await ask(far.port, [{ family: "udp4", address: "127.255.255.255" }]);
  expect(found.map(({ port }) => port)).toEqual([8080]);
});

test("a network that cannot be asked does not spoil the others; silence ends in time with nothing", async () => {
  await using far = await responder("127.0.0.1", () => '{"AlpacaPort":8080}');
  const targets = [
    { family: "udp6", address: "ff12::a1:9aca%no-such-network" },
    { family: "udp4", address: "300.1.1.1" },
    ...here,
  ] as const;
  expect(await ask(far.port, targets)).toHaveLength(1);
  expect(await ask(9, here)).toEqual([]);
});

test("an abort ends the looking with its reason", async () => {
  await expect(
    discoverServers(
      { clock: systemClock, log: silentLog, targets: here },
      AbortSignal.abort(new Error("enough")),
    ),
  ).rejects.toThrow("enough");
});

test("every network's broadcast is asked, the loopback's too", () => {
  expect(discoveryTargets().map(({ address }) => address)).toEqual(
    expect.arrayContaining(["255.255.255.255", "127.255.255.255"]),
  );
  expect(broadcastOf("192.168.17.20", "255.255.240.0")).toBe("192.168.31.255");
});
