import { expect, test } from "vitest";
import { AscomError, UnreadableReplyError } from "../../../../drivers/alpaca/wire/errors.ts";
import { imageFromBytes } from "../../../../drivers/alpaca/wire/image-bytes.ts";
import { imageFromJson } from "../../../../drivers/alpaca/wire/image-json.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { bytesOf, imageBytes } from "../image-encoding.ts";
import { json } from "../scripted-alpaca.ts";

const asked = { device: "Camera", member: "imagearray", transactionId: 42 };
const decode = (bytes: Uint8Array, maxAdu = 65535) => imageFromBytes(bytes, asked, { maxAdu });

const workedHeader =
  "01000000 00000000 2A000000 E9030000 2C000000 02000000 08000000 02000000 03000000 02000000 00000000";
const workedPixels = "0100 0001 0200 0102 FFFF 0080";

test("the worked example: columns on the wire are rows here", () => {
  const image = decode(bytesOf(workedHeader + workedPixels));
  expect(image).toMatchObject({ widthPx: 3, heightPx: 2, serverTransactionId: 1001 });
  expect([...image.pixelsAdu]).toEqual([1, 2, 65535, 256, 513, 32768]);
});

test("the worked error: its number and its words", () => {
  const bytes = bytesOf(
    "01000000 0B040000 2A000000 EA030000 2C000000 00000000 00000000 00000000 00000000 00000000 00000000 6E6F20696D616765",
  );
  let error: unknown;
  try {
    decode(bytes);
  } catch (thrown) {
    error = thrown;
  }
  expect(error).toBeInstanceOf(AscomError);
  expect(error).toMatchObject({ errorNumber: 0x40b, said: "no image", code: "RIG_REFUSED" });
});

const rows = [
  [0, 1, 2, 200, 7],
  [10, 255, 30, 40, 50],
  [3, 4, 5, 6, 254],
];

test.each([1, 2, 3, 4, 5, 6, 7, 8, 9])("element type %i, wider than high, at any place in memory", (type) => {
  for (const dataStart of [44, 48, 45]) {
    const bytes = imageBytes(rows, type, { dataStart });
    const moved = new Uint8Array(bytes.length + 1).subarray(1);
    moved.set(bytes);
    for (const body of [bytes, moved]) {
      const image = decode(body);
      expect([image.widthPx, image.heightPx]).toEqual([5, 3]);
      expect([...image.pixelsAdu]).toEqual(rows.flat());
    }
  }
});

test.each([8, 9, 2, 3, 4, 5, 7])("the brightest pixel of 16 bits comes whole in type %i", (type) => {
  expect([...decode(imageBytes([[65535, 0]], type)).pixelsAdu]).toEqual([65535, 0]);
});

test.each([1, 2, 6, 8])("an image of many bands and odd sides in type %i", (type) => {
  const random = new Random(20261125);
  const brightest = type === 6 ? 255 : 30_000;
  for (const [widthPx, heightPx] of [
    [37, 1030],
    [40, 513],
    [8, 8],
    [1, 3],
  ] as const) {
    expect(() => decode(imageBytes([[65536 + 7, -1, 65535]], 2))).toThrow(); // nothing of it may show in the next one
    const large = Array.from({ length: heightPx }, () =>
      Array.from({ length: widthPx }, () => random.whole(0, brightest)),
    );
    expect([...decode(imageBytes(large, type)).pixelsAdu]).toEqual(large.flat());
  }
});

test.each([
  ["a count above 16 bits", imageBytes([[65536, 1]], 2)],
  ["a large unsigned count", imageBytes([[3_000_000_000, 1]], 9)],
  ["a count of 64 bits", imageBytes([[2 ** 40, 1]], 7)],
  ["a count below 0 in 32 bits", imageBytes([[-1, 1]], 2)],
  ["a count below 0 in 64 bits", imageBytes([[-1, 1]], 7)],
  ["half a count", imageBytes([[0.5, 1]], 3)],
  ["no number", imageBytes([[Number.NaN, 1]], 4)],
  ["infinity", imageBytes([[Number.POSITIVE_INFINITY, 1]], 3)],
])("%s is an error, never another pixel", (_, bytes) => {
  expect(() => decode(bytes)).toThrow(/outside the whole numbers 0 to 65535/);
});

test("16 bits below 0: an error of a camera of 15 bits, misnamed counts of one of 16", () => {
  const bytes = imageBytes([[-1, -32768, 5]], 1);
  expect(() => decode(bytes, 32767)).toThrow(UnreadableReplyError);
  expect([...decode(bytes, 65535).pixelsAdu]).toEqual([65535, 32768, 5]);
});

const good = imageBytes(rows, 8);
const word = (offset: number, value: number) => {
  const bytes = good.slice();
  new DataView(bytes.buffer).setInt32(offset, value, true);
  return bytes;
};

test.each([
  ["nothing", new Uint8Array(0), /no image header/],
  ["half a header", good.subarray(0, 43), /no image header/],
  ["another version", word(0, 2), /version 2/],
  ["a body cut short", good.subarray(0, good.length - 1), /are 30 bytes, and 29 came/],
  ["a body too long", Uint8Array.from([...good, 0]), /and 31 came/],
  ["only a header", good.subarray(0, 44), /and 0 came/],
  ["pixels before the header's end", word(16, 12), /begin at byte 12/],
  ["pixels behind the end", word(16, 9999), /begin at byte 9999/],
  ["a colour image", word(28, 3), /colour image/],
  ["rank 1", word(28, 1), /rank 1/],
  ["no width", word(32, 0), /0 x 3/],
  ["a negative height", word(36, -3), /-3 px/],
  ["sides beyond all sensors", word(32, 2_000_000_000), /2000000000 x 3/],
  ["element type 0", word(24, 0), /element type 0/],
  ["element type 10", word(24, 10), /element type 10/],
  ["another client's image", word(8, 41), /transaction 41, not 42/],
])("%s is refused clearly", (_, bytes, message) => {
  expect(() => decode(bytes)).toThrow(message);
});

const good200 = {
  ClientTransactionID: 42,
  ServerTransactionID: 5,
  ErrorNumber: 0,
  ErrorMessage: "",
  Type: 2,
};

test("as JSON: the worked example, and what is no picture", () => {
  const image = imageFromJson(
    json({
      ...good200,
      Rank: 2,
      Value: [
        [1, 256],
        [2, 513],
        [65535, 32768],
      ],
    }),
    asked,
  );
  expect(image).toMatchObject({ widthPx: 3, heightPx: 2, serverTransactionId: 5 });
  expect([...image.pixelsAdu]).toEqual([1, 2, 65535, 256, 513, 32768]);
  for (const Value of [
    null,
    [],
    [1, 2],
    [[]],
    [[1, 2], [3]],
    [[1], "x"],
    [[1.5]],
    [[-1]],
    [[65536]],
    [["1"]],
    [[[1, 2, 3]]],
  ]) {
    expect(() => imageFromJson(json({ ...good200, Rank: 2, Value }), asked)).toThrow(UnreadableReplyError);
  }
  expect(() => imageFromJson(json({ ...good200, ErrorNumber: 0x40b, ErrorMessage: "none" }), asked)).toThrow(
    AscomError,
  );
});
