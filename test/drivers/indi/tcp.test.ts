import { expect, test } from "vitest";
import { IndiClient } from "../../../drivers/indi/session/client.ts";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { DeviceLostError } from "../../../drivers/kit/errors.ts";
import type { ByteLink } from "../../../drivers/kit/links.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { listenOnLoopback, tcpOpener } from "../../../drivers/kit/tcp-link.ts";
import { vector } from "./far-end.ts";

const signal = new AbortController().signal;

/** A camera that answers one exposure with 6 MB of known pixels, over real sockets. */
async function camera() {
  const pixels = Buffer.alloc(6_000_000);
  for (let i = 0; i < pixels.length; i++) pixels[i] = (i * 31) & 255;
  const links = new Set<ByteLink>();
  const server = await listenOnLoopback(0, (link) => {
    links.add(link);
    void (async () => {
      const say = (text: string) => link.send(Buffer.from(text));
      try {
        for await (const chunk of link.incoming) {
          const heard = Buffer.from(chunk).toString();
          if (heard.includes("<getProperties"))
            await say(vector("def", "Number", "D", "EXPOSE", "Idle", { S: 1 }));
          if (heard.includes("<newNumberVector")) {
            await say(vector("set", "Number", "D", "EXPOSE", "Busy", { S: 1 }));
            await say(
              `<setBLOBVector device="D" name="CCD1" state="Ok"><oneBLOB name="CCD1" size="6000000" len="6000000" format=".bin">\n${pixels.toString("base64")}\n</oneBLOB></setBLOBVector>`,
            );
            await say(vector("set", "Number", "D", "EXPOSE", "Ok", { S: 0 }));
          }
        }
      } catch {
        // the client left
      }
      links.delete(link);
    })();
  });
  return { server, pixels, links };
}

function clientOf(port: number) {
  const open = tcpOpener({ host: "127.0.0.1", port });
  return new IndiClient({
    open,
    clock: systemClock,
    log: silentLog,
    random: new Random(1),
    backoff: { firstSeconds: 0.02, lastSeconds: 0.1 },
  });
}

test("over a socket: definitions, a command, a 6 MB image, whole", async () => {
  const { server, pixels } = await camera();
  await using client = clientOf(server.port);
  await client.connect(signal);
  const device = client.device("D");
  await device.require(["EXPOSE"], { withinSeconds: 5 }, signal);
  await client.enableBlobs("D", "CCD1");
  for (let i = 0; i < 3; i++) {
    const frame = device.nextBlob("CCD1", { withinSeconds: 10, after: device.revision }, signal);
    await device.change("EXPOSE", { S: 1 }, { withinSeconds: 10 }, signal);
    expect(Buffer.from((await frame).bytes).equals(pixels)).toBe(true);
  }
  await server.close();
});

test("over a socket: the server goes, waits fail at once, and the client is back when the server is", async () => {
  const first = await camera();
  const { port } = first.server;
  await using client = clientOf(port);
  await client.connect(signal);
  const device = client.device("D");
  await device.require(["EXPOSE"], { withinSeconds: 5 }, signal);
  const wait = device.waitFor("EXPOSE", (v) => v.state === "Alert", { withinSeconds: 60 }, signal);
  wait.catch(() => {});
  await first.server.close();
  await expect(wait).rejects.toThrow(DeviceLostError);
  const again = await listenOnLoopback(port, (link) => {
    void link.send(Buffer.from(vector("def", "Number", "D", "EXPOSE", "Ok", { S: 5 })));
  });
  const [back] = await device.require(["EXPOSE"], { withinSeconds: 10 }, signal);
  expect(back?.state).toBe("Ok");
  await client.close();
  await again.close();
});

test("over a socket: no server there", async () => {
  const { server } = await camera();
  await server.close();
  await using client = clientOf(server.port);
  await expect(client.connect(signal, { withinSeconds: 0.2 })).rejects.toThrow(DeviceLostError);
});
