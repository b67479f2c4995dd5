import { once } from "node:events";
import { connect, createServer, type Socket } from "node:net";
import { expect, test } from "vitest";
import { openLinkRelay } from "../../../agent/drill/link-relay.ts";

test("cut, it ends the links that are there and takes no other; mended, it takes them again", async () => {
  const server = createServer((socket) => socket.pipe(socket));
  server.listen(0, "127.0.0.1");
  await once(server, "listening");
  const { port } = server.address() as { port: number };
  {
    await using relay = await openLinkRelay({ host: "127.0.0.1", port });
    const open = () => connect(relay.port, "127.0.0.1").on("error", () => {});
    const echo = async (socket: Socket) => {
      socket.write("hello");
      const [bytes] = (await once(socket, "data")) as [Buffer];
      return bytes.toString();
    };
    const first = open();
    expect(await echo(first)).toBe("hello");
    relay.cut();
    await once(first, "close");
    const second = open();
    second.write("hello");
    await once(second, "close");
    relay.mend();
    const third = open();
    expect(await echo(third)).toBe("hello");
    third.destroy();
  }
  server.close();
});
