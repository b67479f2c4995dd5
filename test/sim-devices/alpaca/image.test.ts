import { expect, test } from "vitest";
import { AscomError } from "../../../sim-devices/alpaca/ascom-error.ts";
import {
  type ElementType,
  imageBytesReply,
  imageErrorReply,
  imageJsonReply,
} from "../../../sim-devices/alpaca/image.ts";
import { onDevices } from "./alpaca-client.ts";

const image = { pixelsAdu: Uint16Array.of(1, 2, 65535, 256, 513, 32768), widthPx: 3, heightPx: 2 };
const ids = { ClientTransactionID: 42, ServerTransactionID: 1001 };
const hex = (bytes: Uint8Array) => Buffer.from(bytes).toString("hex").toUpperCase();

test("three by two pixels as bytes: header and columns, byte by byte", () => {
  const { body, contentType } = imageBytesReply(image, "smallest", ids);
  expect(contentType).toBe("application/imagebytes");
  expect(hex(body)).toBe(
    "01000000000000002A000000E90300002C0000000200000008000000020000000300000002000000" +
      "00000000" +
      "010000010200010 2FFFF0080".replace(/ /g, ""),
  );
});

test("an error as bytes: its number in the header, its words behind it", () => {
  const { body } = imageErrorReply(new AscomError(0x40b, "no image"), { ...ids, ServerTransactionID: 1002 });
  expect(hex(body)).toBe(
    "010000000B0400002A000000EA0300002C000000000000000000000000000000000000000000000000000000" +
      "6E6F20696D616765",
  );
});

test("the same as JSON: columns from the left, each from the top", () => {
  const { body } = imageJsonReply(image, ids);
  expect(JSON.parse(new TextDecoder().decode(body))).toEqual({
    Type: 2,
    Rank: 2,
    Value: [
      [1, 256],
      [2, 513],
      [65535, 32768],
    ],
    ClientTransactionID: 42,
    ServerTransactionID: 1001,
    ErrorNumber: 0,
    ErrorMessage: "",
  });
});

const columns = [1, 256, 2, 513, 65535, 32768];
const readers: readonly (readonly [ElementType, number, (view: DataView, at: number) => number])[] = [
  [2, 4, (view, at) => view.getInt32(at, true)],
  [3, 8, (view, at) => view.getFloat64(at, true)],
  [4, 4, (view, at) => view.getFloat32(at, true)],
  [5, 8, (view, at) => Number(view.getBigUint64(at, true))],
  [7, 8, (view, at) => Number(view.getBigInt64(at, true))],
  [8, 2, (view, at) => view.getUint16(at, true)],
  [9, 4, (view, at) => view.getUint32(at, true)],
];

test.each(readers)("element type %i: little endian, %i bytes each", (type, itemBytes, read) => {
  const { body } = imageBytesReply(image, type, ids);
  const view = new DataView(body.buffer);
  expect(view.getInt32(24, true)).toBe(type);
  expect(body.length).toBe(44 + 6 * itemBytes);
  expect(columns.map((_, i) => read(view, 44 + i * itemBytes))).toEqual(columns);
});

test("the smallest type follows the frame: a dark one leaves as bytes", () => {
  const dark = { ...image, pixelsAdu: Uint16Array.of(0, 1, 2, 253, 254, 255) };
  const { body } = imageBytesReply(dark, "smallest", ids);
  expect(body[24]).toBe(6);
  expect([...body.subarray(44)]).toEqual([0, 253, 1, 254, 2, 255]);
});

test("counts beyond a signed word leave as negative ones where that type is forced", () => {
  const view = new DataView(imageBytesReply(image, 1, ids).body.buffer);
  expect(view.getInt16(44 + 2 * 4, true)).toBe(-1);
});

test("bytes only for who accepts them; frame and scene agree pixel by pixel, in either form", () =>
  onDevices(
    async ({ client, simulator, pass }) => {
      const { painter } = simulator;
      let painted: Uint16Array = new Uint16Array();
      const paint = painter.paint.bind(painter);
      painter.paint = (light, ask) => {
        painted = paint(light, ask);
        return painted;
      };
      await client.put("camera/0/startexposure", { Duration: 0.5, Light: true });
      await pass(3);
      const json = await client.value("camera/0/imagearray");
      const bytes = await client.get(
        "camera/0/imagearray",
        {},
        "application/imagebytes, application/json;q=0.5",
      );
      expect(bytes.contentType).toBe("application/imagebytes");
      const data = new Uint16Array(bytes.bytes.slice(44).buffer);
      expect((json as number[][]).length).toBe(64);
      for (let y = 0; y < 48; y++) {
        for (let x = 0; x < 64; x++) {
          const adu = painted[y * 64 + x];
          expect([(json as number[][])[x]![y], data[x * 48 + y]]).toEqual([adu, adu]);
        }
      }
      await client.put("camera/0/startexposure", { Duration: 5, Light: true });
      const none = await client.get("camera/0/imagearray", {}, "application/imagebytes");
      expect(new DataView(none.bytes.buffer).getInt32(4, true)).toBe(0x40b);
    },
    { connect: ["camera/0"], scene: { camera: { words: "scaled" }, startsWith: { offset: 100 } } },
  ));
