import { expect, test } from "vitest";
import type { ByteLink } from "../../../drivers/kit/links.ts";
import { memoryLinkPair } from "../../../drivers/kit/memory-link.ts";
import { listenOnLoopback, tcpOpener } from "../../../drivers/kit/tcp-link.ts";

const text = (bytes: Uint8Array) => new TextDecoder().decode(bytes);
const bytes = (words: string) => new TextEncoder().encode(words);

async function readAll(link: ByteLink): Promise<string> {
  let all = "";
  for await (const chunk of link.incoming) all += text(chunk);
  return all;
}

test("what one end of a pair sends the other receives, and closing ends both", async () => {
  const { near, far } = memoryLinkPair();
  const heard = readAll(far);
  const buffer = bytes("one ");
  await near.send(buffer);
  buffer.fill(0); // the sender may reuse its buffer at once
  await near.send(bytes("two"));
  await near.close();
  expect(await heard).toBe("one two");
  await expect(near.send(bytes("late"))).rejects.toThrow("closed");
});

test("a cut pair throws at both readers", async () => {
  const { near, far, cut } = memoryLinkPair();
  const heard = Promise.allSettled([readAll(near), readAll(far)]);
  cut();
  expect((await heard).map((result) => result.status)).toEqual(["rejected", "rejected"]);
});

test("a socket on loopback carries bytes both ways", async () => {
  const server = await listenOnLoopback(0, (link) => {
    void (async () => {
      for await (const chunk of link.incoming) await link.send(bytes(`echo ${text(chunk)}`));
    })();
  });
  const link = await tcpOpener({ host: "127.0.0.1", port: server.port })(new AbortController().signal);
  await link.send(bytes("hello"));
  for await (const chunk of link.incoming) {
    expect(text(chunk)).toBe("echo hello");
    break;
  }
  await link.close();
  await server.close();
});

test("a server that is not there is an error at once", async () => {
  const server = await listenOnLoopback(0, () => {});
  await server.close();
  const opening = tcpOpener({ host: "127.0.0.1", port: server.port })(new AbortController().signal);
  await expect(opening).rejects.toThrow(/refused|connect/i);
});
