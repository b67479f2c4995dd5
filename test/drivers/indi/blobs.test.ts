import { readFileSync } from "node:fs";
import { deflateSync } from "node:zlib";
import { describe, expect, test } from "vitest";
import type { IndiClientOptions } from "../../../drivers/indi/session/client.ts";
import { BlobError } from "../../../drivers/indi/wire/errors.ts";
import { DeadlineError, DeviceLostError } from "../../../drivers/kit/errors.ts";
import type { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import type { FarEnd } from "./far-end.ts";
import { vector } from "./far-end.ts";
import { recordedSteps, type Wire } from "./scripted-server.ts";
import { signal, testClient } from "./test-client.ts";

const within = { withinSeconds: 30 };
const pixels = Buffer.from(Array.from({ length: 3000 }, (_, i) => (i * 7) & 255));

function blob(payload: Uint8Array, attributes: Record<string, string | number>, name = "CCD1"): string {
  const text = Object.entries(attributes)
    .map(([key, value]) => ` ${key}="${value}"`)
    .join("");
  return `<setBLOBVector device="D" name="${name}" state="Ok" timestamp="2026-06-01T10:00:00">\n<oneBLOB name="${name}"${text}>\n${Buffer.from(payload).toString("base64")}\n</oneBLOB>\n</setBLOBVector>\n`;
}

const whole = () => blob(pixels, { size: 3000, len: 3000, format: ".fits" });
const exposure = (state: string, left: number) =>
  vector("set", "Number", "D", "CCD_EXPOSURE", state, { S: left });

async function withCamera(
  work: (
    at: { clock: VirtualClock; far: FarEnd } & ReturnType<typeof testClient> & {
        device: ReturnType<ReturnType<typeof testClient>["client"]["device"]>;
      },
  ) => Promise<void>,
  options: Partial<IndiClientOptions> = {},
): Promise<void> {
  const parts = testClient(options);
  const { clock, far, client } = parts;
  far.on(/<getProperties version="1.7"\/>/, () =>
    far.say(
      `${vector("def", "Number", "D", "CCD_EXPOSURE", "Idle", { S: 1 })}<defBLOBVector device="D" name="CCD1" perm="ro" state="Idle"><defBLOB name="CCD1"/></defBLOBVector>`,
    ),
  );
  await clock.drive(
    (async () => {
      await client.connect(signal);
      const device = client.device("D");
      await device.require(["CCD1"], within, signal);
      await client.enableBlobs("D", "CCD1");
      await work({ ...parts, device });
      await client.close();
    })(),
  );
  expect(clock.pendingTimers).toBe(0);
}

describe("forms", () => {
  const zipped = deflateSync(pixels);
  test.each([
    [".fits", whole(), ".fits"],
    [".bin", blob(pixels, { size: 3000, format: ".bin" }), ".bin"],
    [".fits.z", blob(zipped, { size: 3000, len: zipped.length, format: ".fits.z" }), ".fits"],
    [
      ".bin.z",
      blob(zipped, { size: 3000, enclen: zipped.toString("base64").length, format: ".bin.z" }),
      ".bin",
    ],
    [
      ".fits.fz, padded beyond len",
      blob(Buffer.concat([pixels, Buffer.alloc(9000)]), { size: 99, len: 3000, format: ".fits.fz" }),
      ".fits.fz",
    ],
  ])("%s", async (_, text, format) => {
    await withCamera(async ({ far, device }) => {
      const next = device.nextBlob("CCD1", within, signal);
      far.say(text);
      const got = await next;
      expect(got).toMatchObject({
        device: "D",
        name: "CCD1",
        element: "CCD1",
        format,
        state: "Ok",
        timestamp: "2026-06-01T10:00:00",
      });
      expect(Buffer.from(got.bytes).equals(pixels)).toBe(true);
    });
  });

  test.each([
    ["cut short", blob(pixels.subarray(0, 2000), { size: 3000, len: 3000, format: ".fits" }), /2000 of 3000/],
    [
      "inflates to more than its size",
      blob(zipped, { size: 2999, len: zipped.length, format: ".bin.z" }),
      /more than the 2999/,
    ],
    ["inflates to less", blob(zipped, { size: 3001, len: zipped.length, format: ".bin.z" }), /3000 of 3001/],
    [
      "a zip bomb",
      blob(deflateSync(Buffer.alloc(2e6)), { size: 2e6, format: ".bin.z" }),
      /2000000 bytes declared, 100000 allowed/,
    ],
    ["no zlib data", blob(pixels, { size: 3000, len: 3000, format: ".bin.z" }), /does not inflate/],
    [
      "too large",
      blob(Buffer.alloc(120_000), { size: 120_000, len: 120_000, format: ".fits" }),
      /100000 allowed/,
    ],
  ])("%s: told, never given out", async (_, text, words) => {
    await withCamera(
      async ({ far, device }) => {
        const next = device.nextBlob("CCD1", within, signal);
        far.say(text);
        await expect(next).rejects.toThrow(BlobError);
        await expect(next).rejects.toThrow(words);
        const after = device.nextBlob("CCD1", within, signal);
        far.say(whole());
        expect((await after).bytes.length).toBe(3000); // the stream goes on
      },
      { limits: { blobBytesMax: 100_000 } },
    );
  });
});

describe("pitfall 10: an old frame is not taken for the new one", () => {
  test("what came before this request's Busy is dropped", async () => {
    await withCamera(async ({ clock, far, device }) => {
      let busyAt: number | undefined;
      device.watch((event) => {
        if (event.type === "updated" && event.vector.state === "Busy") busyAt ??= event.vector.revision;
      });
      const next = device.nextBlob("CCD1", { ...within, after: () => busyAt }, signal);
      const stale = blob(Buffer.alloc(3000), { size: 3000, len: 3000, format: ".fits" });
      clock.setTimer(1, () => far.say(stale + exposure("Busy", 2)));
      clock.setTimer(3, () => far.say(whole() + exposure("Ok", 0)));
      const got = await next;
      expect(Buffer.from(got.bytes).equals(pixels)).toBe(true);
      expect(got.startedRevision).toBeGreaterThan(busyAt!);
    });
  });

  test("a mark, and a test of the frame itself", async () => {
    await withCamera(async ({ clock, far, device }) => {
      const wait = device.nextBlob(
        "CCD1",
        { ...within, after: device.revision, accept: (b) => b.bytes.length === 3000 },
        signal,
      );
      far.say(blob(Buffer.alloc(30), { size: 30, len: 30, format: ".fits" }));
      clock.setTimer(1, () => far.say(whole()));
      expect((await wait).bytes.length).toBe(3000);
    });
  });

  test("BLOBs that nobody waits for are passed over", async () => {
    await withCamera(async ({ clock, far, device }) => {
      far.say(whole());
      await clock.sleep(1);
      await expect(device.nextBlob("CCD1", { withinSeconds: 5 }, signal)).rejects.toThrow(DeadlineError);
    });
  });
});

test("pitfall 11: BLOB before Ok or after it, both are seen in their order", async () => {
  for (const order of ["BLOB first", "Ok first"]) {
    await withCamera(async ({ far, device }) => {
      const mark = device.revision;
      const frame = device.nextBlob("CCD1", { ...within, after: mark }, signal);
      const done = device.waitFor(
        "CCD_EXPOSURE",
        (v) => v.state === "Ok",
        { ...within, after: mark },
        signal,
      );
      far.say(order === "Ok first" ? exposure("Ok", 0) + whole() : whole() + exposure("Ok", 0));
      const [got, ended] = await Promise.all([frame, done]);
      expect(got.startedRevision < ended.revision).toBe(order === "BLOB first");
    });
  }
});

test("pitfall 15: the link is cut within a BLOB: the frame is lost, and the next one is whole", async () => {
  await withCamera(async ({ clock, far, device, client }) => {
    const lost = device.nextBlob("CCD1", within, signal);
    far.say(whole().slice(0, 2000));
    clock.setTimer(1, () => void far.hangUp());
    await expect(lost).rejects.toThrow(DeviceLostError);
    await device.require(["CCD1"], within, signal);
    const next = device.nextBlob("CCD1", within, signal);
    far.say(whole());
    expect((await next).bytes.length).toBe(3000);
    expect(client.linkState).toBe("up");
  });
});

test("images on a link of their own: Only without a property, kept over its own loss", async () => {
  await withCamera(
    async ({ clock, far, device, client }) => {
      expect(client.ordersBlobs).toBe(false);
      await clock.sleep(0.1);
      expect(far.links.length).toBe(2);
      expect(far.heard.at(-1)).not.toContain("getProperties");
      expect(far.heard.filter((text) => text.includes("enableBLOB"))).toEqual([
        '<enableBLOB device="D">Only</enableBLOB>\n',
      ]);
      const images = far.links[1]!;
      const next = device.nextBlob("CCD1", within, signal);
      void images.send(Buffer.from(whole()));
      expect((await next).bytes.length).toBe(3000);

      const lost = device.nextBlob("CCD1", within, signal);
      clock.setTimer(1, () => void images.close());
      await expect(lost).rejects.toThrow(/link for images was cut/);
      expect(device.known).toBe(true); // the device is not gone
      await clock.sleep(2);
      expect(far.links.length).toBe(2);
      expect(far.heardCount(/enableBLOB device="D">Only/)).toBe(2);
    },
    { blobLink: "separate" },
  );
});

test("a recorded exposure: remarks, Busy, countdown, BLOB and Ok, replayed with its times", async () => {
  const steps = recordedSteps(
    readFileSync(new URL("./recordings/fits-blob-16x16-1.9.9.xml", import.meta.url), "utf8"),
  );
  const start = steps.findIndex((step) => step.wires[0]?.tag === "newNumberVector");
  const end = steps.findIndex((step, i) => i > start && step.fromClient);
  const { clock, far, client } = testClient();
  far.on(/<newNumberVector/, () => {
    for (const step of steps.slice(start + 1, end)) {
      clock.setTimer(step.atSeconds - steps[start]!.atSeconds, () =>
        far.say(step.wires.map(text).join("\n")),
      );
    }
  });
  await clock.drive(
    (async () => {
      await client.connect(signal);
      await clock.sleep(0.01);
      far.say(vector("def", "Number", "CCD Simulator", "CCD_EXPOSURE", "Idle", { CCD_EXPOSURE_VALUE: 1 }));
      const device = client.device("CCD Simulator");
      await device.require(["CCD_EXPOSURE"], within, signal);
      const frame = device.nextBlob("CCD1", { ...within, after: device.revision }, signal);
      const ended = await device.change(
        "CCD_EXPOSURE",
        { CCD_EXPOSURE_VALUE: 0.2 },
        { ...within, errorMessages: "ignore" },
        signal,
      );
      const { bytes, format } = await frame;
      expect(ended.elements.get("CCD_EXPOSURE_VALUE")?.value).toBe(0);
      expect(format).toBe(".fits");
      expect(bytes.length % 2880).toBe(0);
      expect(Buffer.from(bytes.subarray(0, 30)).toString("latin1")).toBe("SIMPLE  =                    T");
      await client.close();
    })(),
  );
});

function text(wire: Wire): string {
  const attributes = Object.entries(wire.attributes)
    .map(([key, value]) => ` ${key}="${value}"`)
    .join("");
  return `<${wire.tag}${attributes}>${wire.text}${wire.children.map(text).join("\n")}</${wire.tag}>`;
}
