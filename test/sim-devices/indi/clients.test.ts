import { once } from "node:events";
import { connect } from "node:net";
import { expect, test } from "vitest";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { startSimulator } from "../../../sim-devices/start-simulator.ts";
import { outline, session, smallSpec } from "../sim-session.ts";

const general = '<getProperties version="1.7"/>';

test("a client hears nothing until it asks, and then of what it asked for", async () => {
  await session(async ({ client, another, pass }) => {
    const narrow = await another();
    await narrow.say('<getProperties version="1.7" device="Scene Cover"/>');
    const one = await another();
    await one.say('<getProperties version="1.7" device="Scene Mount" name="CONNECTION"/>');
    await pass(0.1);
    expect(client.take()).toEqual([]);
    expect(new Set(narrow.take().map((e) => e.attributes.device))).toEqual(new Set(["Scene Cover"]));
    expect(outline(one.take())).toEqual(["def CONNECTION Idle DISCONNECT"]);
    await client.say(general);
    await pass(0.1);
    expect(new Set(client.take().map((e) => e.attributes.device)).size).toBe(9);
    // The driver's answer goes to every client that is interested, not only to the one that asked.
    expect(narrow.take().length).toBeGreaterThan(0);
  });
});

test("a general getProperties after a named device leaves the client deaf to the others", async () => {
  await session(async ({ client, pass }) => {
    await client.say('<enableBLOB device="Scene Camera">Also</enableBLOB>');
    await client.say(general);
    await pass(0.1);
    expect(new Set(client.take().map((e) => e.attributes.device))).toEqual(new Set(["Scene Camera"]));
  });
});

test("a command is echoed to the other clients before the answer, never to its sender", async () => {
  await session(
    async ({ client, another, pass }) => {
      const second = await another();
      await second.say(general);
      await pass(0.1);
      client.take();
      second.take();
      await second.numbers("Scene Camera", "CCD_GAIN", { GAIN: 7 });
      await pass(0.1);
      expect(outline(client.take())).toEqual(["new CCD_GAIN", "set CCD_GAIN Ok"]);
      expect(outline(second.take())).toEqual(["set CCD_GAIN Ok"]);
    },
    { connect: ["Scene Camera"] },
  );
});

const settings: readonly (readonly [string, string, boolean, boolean])[] = [
  // enableBLOB sent, for what; BLOB comes; other things come
  ["nothing", "", false, true],
  ["Never", '<enableBLOB device="Scene Camera">Never</enableBLOB>', false, true],
  ["Also for the device", '<enableBLOB device="Scene Camera">Also</enableBLOB>', true, true],
  ["Also for all", "<enableBLOB>Also</enableBLOB>", true, true],
  [
    "Also for another device opens this one too",
    '<enableBLOB device="Scene Mount">Also</enableBLOB>',
    true,
    true,
  ],
  ["Also for the property", '<enableBLOB device="Scene Camera" name="CCD1">Also</enableBLOB>', true, true],
  ["Only", '<enableBLOB device="Scene Camera">Only</enableBLOB>', true, false],
  ["Only for the property", '<enableBLOB device="Scene Camera" name="CCD1">Only</enableBLOB>', true, true],
  [
    "Also, but never this property",
    '<enableBLOB>Also</enableBLOB><enableBLOB device="Scene Camera" name="CCD1">Never</enableBLOB>',
    false,
    true,
  ],
];

test.each(settings)("enableBLOB: %s", async (_what, xml, blobs, others) => {
  await session(
    async ({ client, pass }) => {
      if (xml !== "") await client.say(xml);
      await client.numbers("Scene Camera", "CCD_EXPOSURE", { CCD_EXPOSURE_VALUE: 0.5 });
      await pass(5);
      const tags = client.take().map((e) => e.tag);
      expect([tags.includes("setBLOBVector"), tags.includes("setNumberVector")]).toEqual([blobs, others]);
    },
    { connect: ["Scene Camera"] },
  );
});

test("pings are answered, rubbish is skipped, a getProperties without version kills and restarts the driver", async () => {
  await session(async ({ client, pass }) => {
    await client.say('rubbish <?xml version="1.0"?><!-- a comment --><unknown/><a><b></a>\u0000');
    await client.say('<newNumberVector device="x"><oneNumber name="y">1</wrong></newNumberVector>');
    await client.say('<pingRequest uid="p1"/>');
    await pass(0.1);
    expect(client.take().map((e) => [e.tag, e.attributes.uid])).toEqual([["pingReply", "p1"]]);
    await client.say(general);
    await pass(0.1);
    client.take();
    await client.say('<getProperties device="Scene Cover"/>');
    await pass(1);
    const heard = client.take();
    expect(heard[0]).toMatchObject({ tag: "delProperty", attributes: { device: "Scene Cover" } });
    expect(outline(heard.slice(1))[0]).toBe("def CONNECTION Idle DISCONNECT");
  });
});

test("an element that never ends is cut off", async () => {
  await session(async ({ client, pass }) => {
    await client.say("<newTextVector>");
    for (let i = 0; i < 20; i++) await client.say("x".repeat(100_000)).catch(() => {});
    await pass(1);
    expect(client.ended).toBe(true);
  });
});

test("a session by hand on a raw socket", async () => {
  await using simulator = await startSimulator({ spec: smallSpec(), clock: systemClock, indiPort: 0 });
  const socket = connect(simulator.indi!.port, "127.0.0.1");
  let text = "";
  socket.on("data", (data) => {
    text += data.toString();
  });
  const untilText = async (part: string) => {
    while (!text.includes(part)) await once(socket, "data");
  };
  socket.write(general);
  await untilText('device="Scene Weather" name="CONNECTION"');
  socket.write(
    "<newSwitchVector device='Scene Camera' name='CONNECTION'><oneSwitch name='CONNECT'>On</oneSwitch></newSwitchVector>",
  );
  await untilText('name="CCD1"');
  socket.write('<enableBLOB device="Scene Camera" name="CCD1">Also</enableBLOB>');
  socket.write(
    '<newNumberVector device="Scene Camera" name="CCD_EXPOSURE"><oneNumber name="CCD_EXPOSURE_VALUE">0.01</oneNumber></newNumberVector>',
  );
  await untilText("</setBLOBVector>");
  const blob = /<oneBLOB name="CCD1" size="(\d+)" format="\.fits" len="\1">\n([A-Za-z0-9+/=]+)\n/.exec(text);
  const fits = Buffer.from(blob?.[2] ?? "", "base64");
  expect(fits.length).toBe(Number(blob?.[1]));
  expect(fits.subarray(0, 30).toString()).toMatch(/^SIMPLE {2}= +T$/);
  socket.destroy();
});
