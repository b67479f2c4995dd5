import { inflateSync } from "node:zlib";
import { expect, test } from "vitest";
import { readFits } from "../../../drivers/formats/fits-read.ts";
import { type HandClient, numberIn, session } from "../sim-session.ts";

function blobOf(client: HandClient): { format: string; size: number; payload: Buffer } {
  const one = client.take().find((e) => e.tag === "setBLOBVector")?.children[0];
  if (!one) throw new Error("no image came");
  return {
    format: one.attributes.format ?? "",
    size: Number(one.attributes.size),
    payload: Buffer.from(one.text.trim(), "base64"),
  };
}

const options = { connect: ["Scene Camera"] };
const also = '<enableBLOB device="Scene Camera" name="CCD1">Also</enableBLOB>';
const expose = async (client: HandClient, seconds: number) =>
  client.numbers("Scene Camera", "CCD_EXPOSURE", { CCD_EXPOSURE_VALUE: seconds });

test("an image carries the cards that drivers write, and binning and region show in its shape", async () => {
  await session(async ({ client, pass, clock }) => {
    await client.say(also);
    await client.numbers("Scene Camera", "CCD_GAIN", { GAIN: 33 });
    await client.numbers("Scene Camera", "CCD_BINNING", { HOR_BIN: 2, VER_BIN: 2 });
    await client.numbers("Scene Camera", "CCD_FRAME", { X: 8, Y: 4, WIDTH: 40, HEIGHT: 30 });
    await client.switchOn("Scene Camera", "CCD_FRAME_TYPE", "FRAME_FLAT");
    await pass(0.25);
    client.take();
    const startedMs = clock.nowMs();
    await expose(client, 1.5);
    await pass(5);
    const { format, size, payload } = blobOf(client);
    expect([format, size]).toEqual([".fits", payload.length]);
    const hdu = readFits(payload)[0]!;
    expect(hdu.shape).toEqual([15, 20]);
    const card = (keyword: string) => hdu.header.value(keyword);
    expect(card("EXPTIME")).toBe(1.5);
    expect(card("DATE-OBS")).toBe(new Date(startedMs).toISOString().slice(0, 23));
    expect([card("GAIN"), card("XBINNING"), card("YBINNING")]).toEqual([33, 2, 2]);
    expect([card("IMAGETYP"), card("FRAME"), card("ROWORDER")]).toEqual(["Flat Frame", "Flat", "TOP-DOWN"]);
    for (const keyword of [
      "OFFSET",
      "CCD-TEMP",
      "FILTER",
      "FOCUSPOS",
      "ROTATANG",
      "SITELAT",
      "RA",
      "DEC",
      "FOCALLEN",
    ]) {
      expect(card(keyword), keyword).toBeDefined();
    }
  }, options);
});

test("deflated and native images hold the same number of pixels", async () => {
  await session(async ({ client, pass }) => {
    await client.say(also);
    await client.switchOn("Scene Camera", "CCD_COMPRESSION", "INDI_ENABLED");
    await expose(client, 0.1);
    await pass(5);
    const packed = blobOf(client);
    expect(packed.format).toBe(".fits.z");
    const fits = inflateSync(packed.payload);
    expect(fits.length).toBe(packed.size);
    expect(readFits(fits)[0]?.shape).toEqual([48, 64]);
    await client.switchOn("Scene Camera", "CCD_COMPRESSION", "INDI_DISABLED");
    await client.switchOn("Scene Camera", "CCD_TRANSFER_FORMAT", "FORMAT_NATIVE");
    await expose(client, 0.1);
    await pass(5);
    const native = blobOf(client);
    expect([native.format, native.size, native.payload.length]).toEqual([".bin", 64 * 48 * 2, 64 * 48 * 2]);
  }, options);
});

test("a bias is as short as can be; a local upload sends no image; a lone number out of range changes nothing", async () => {
  await session(async ({ client, pass, simulator }) => {
    await client.say(also);
    await client.switchOn("Scene Camera", "CCD_FRAME_TYPE", "FRAME_BIAS");
    await expose(client, 10);
    await pass(5);
    const bias = readFits(blobOf(client).payload)[0]!;
    const { exposureSecondsMin } = simulator.world.spec.camera;
    expect(bias.header.value("EXPTIME")).toBe(exposureSecondsMin);
    await client.switchOn("Scene Camera", "UPLOAD_MODE", "UPLOAD_LOCAL");
    await expose(client, 0.1);
    await pass(5);
    const heard = client.take();
    expect(heard.some((e) => e.tag === "setBLOBVector")).toBe(false);
    expect(heard.at(-1)?.attributes).toMatchObject({ name: "CCD_EXPOSURE", state: "Ok" });
    const before = simulator.world.camera.settings.gain;
    await client.numbers("Scene Camera", "CCD_GAIN", { GAIN: 1e6 });
    await pass(0.1);
    const sets = client.take();
    expect(sets.map((e) => e.attributes.state)).toEqual(["Alert", "Ok"]);
    expect(numberIn(sets[1], "GAIN")).toBe(before);
    expect(simulator.world.camera.settings.gain).toBe(before);
  }, options);
});
