import { createServer } from "node:http";
import { type AddressInfo, connect, type Socket } from "node:net";
import { afterAll, beforeAll, expect, test } from "vitest";
import { LivePage, watchersMost } from "../../../../agent/service/page/live-page.ts";
import { systemClock } from "../../../../drivers/kit/clock.ts";

/** Over true sockets; what is waited for is what is heard, never a time. */
let html: string | undefined = "<p>one</p>";
let renders = 0;
const render = () => {
  renders++;
  if (html === "fails") throw new Error("the ledger can't be read");
  return html;
};
const live = new LivePage(render, systemClock, { tickMs: 5, stillMs: 50, stalledMs: 50 });
const server = createServer((_, response) => {
  response.writeHead(200, { "content-type": "text/event-stream" });
  live.add(response);
});
const sockets: Socket[] = [];
beforeAll(() => new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve)));
afterAll(() => {
  live[Symbol.dispose]();
  for (const socket of sockets) socket.destroy();
  server.close();
});

function watch() {
  let heard = "";
  const socket = connect((server.address() as AddressInfo).port, "127.0.0.1");
  sockets.push(socket);
  socket.write("GET /live HTTP/1.1\r\nHost: localhost\r\n\r\n");
  socket.on("error", () => {});
  socket.on("data", (bytes) => {
    heard += bytes.toString();
  });
  const until = async (wanted: string) => {
    while (!heard.includes(wanted)) await new Promise((resolve) => setTimeout(resolve, 2));
  };
  const forget = () => {
    heard = "";
  };
  return { socket, until, forget, countOf: (wanted: string) => heard.split(wanted).length - 1 };
}

test("what has changed is sent once to each, made once for all; who hears nothing is told that it is still so", async () => {
  const [one, two] = [watch(), watch()];
  await Promise.all([one.until("<p>one</p>"), two.until("<p>one</p>")]);
  html = "<p>two\nlines</p>";
  await Promise.all([one.until('"<p>two\\nlines</p>"\n\n'), two.until("<p>two")]);
  html = "fails";
  await one.until("event: still\ndata: \n\n");
  html = undefined;
  await two.until("event: still");
  expect([one.countOf("<p>one"), one.countOf("<p>two"), two.countOf("<p>two")]).toEqual([1, 1, 1]);
  const last = watch(); // who comes late is shown how it stands
  await last.until("<p>two");
  for (const { socket } of [one, two, last]) socket.destroy();
  while (live.watcherCount > 0) await new Promise((resolve) => setTimeout(resolve, 2));
  const before = renders;
  await new Promise((resolve) => setTimeout(resolve, 30));
  expect(renders).toBe(before); // nobody watches, and nothing is made
});

test("a stalled watcher is sent nothing more and is let go, while another sees every change", async () => {
  const [stalled, other] = [watch(), watch()];
  await Promise.all([stalled.until("data:"), other.until("data:")]);
  stalled.socket.pause();
  for (let at = 0; live.watcherCount === 2; at++) {
    html = `${"x".repeat(200_000)} ${at}.`;
    await other.until(` ${at}.`);
    other.forget();
  }
  expect(live.watcherCount).toBe(1);
  other.socket.destroy();
});

test("more than it has room for are not taken", async () => {
  html = "<p>three</p>";
  const all = Array.from({ length: watchersMost }, watch);
  await Promise.all(all.map(({ until }) => until("three")));
  expect(live.isFull).toBe(true);
});
