import { describe, expect, test } from "vitest";
import { BlobText } from "../../../../drivers/indi/wire/blob-text.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { SpareMemory } from "../../../../drivers/kit/spare-memory.ts";

const limit = 64 * 2 ** 20;
/** One for all: what an earlier BLOB left in it must never show in a later one. */
const memory = new SpareMemory();

function decode(
  text: string,
  declared: { len?: number; size?: number; enclen?: number },
  cuts: (left: number) => number = (left) => left,
  limitBytes = limit,
) {
  const blob = new BlobText(
    { len: undefined, size: undefined, enclen: undefined, ...declared },
    limitBytes,
    memory,
  );
  const bytes = Buffer.from(text, "latin1");
  for (let at = 0; at < bytes.length; ) {
    const end = Math.min(bytes.length, at + cuts(bytes.length - at));
    blob.write(bytes, at, end);
    at = end;
  }
  const outcome = blob.end();
  if (!("bytes" in outcome)) return outcome;
  const bytesOut = outcome.bytes.slice();
  memory.giveBack(outcome.bytes);
  return { bytes: bytesOut };
}

function noise(random: Random, byteCount: number): Buffer {
  return Buffer.from(Array.from({ length: byteCount }, () => random.whole(0, 255)));
}

function withBreaks(text: string, every: number): string {
  return text.replaceAll(new RegExp(`(.{${every}})`, "g"), "$1\n");
}

describe("pitfall 14: base64 with or without line breaks, blanks around", () => {
  test("any payload, cut anywhere, in lines or not, decodes to itself", () => {
    const seed = 90_417;
    const random = new Random(seed);
    for (let round = 0; round < 800; round++) {
      const payload = noise(random, random.whole(1, 400));
      const plain = payload.toString("base64");
      const text = random.pick([
        plain,
        withBreaks(plain, 72),
        `\n  ${plain}\r\n\t`,
        withBreaks(plain, random.whole(1, 9)),
      ]);
      const declared = random.pick([
        { len: payload.length, size: payload.length },
        { size: payload.length },
        { size: payload.length, enclen: plain.length },
        { enclen: text.length },
        { size: 7 * payload.length },
        { size: Math.ceil(payload.length / 3) },
        {},
      ]);
      const outcome = decode(text, declared, () => random.whole(1, random.pick([1, 3, 5, 50, 500])));
      const note = `seed ${seed} round ${round} ${JSON.stringify(declared)}`;
      expect("bytes" in outcome ? Buffer.from(outcome.bytes).equals(payload) : outcome.broken, note).toBe(
        true,
      );
    }
  });

  test("pieces longer than one string are joined rightly", () => {
    const payload = noise(new Random(8), 500_000);
    const outcome = decode(
      withBreaks(payload.toString("base64"), 72),
      { len: payload.length },
      () => 300_001,
    );
    expect("bytes" in outcome && Buffer.from(outcome.bytes).equals(payload)).toBe(true);
  });
});

describe("pitfall 13: payload longer than len, len missing, enclen only", () => {
  test("what is longer than len is cut to len, whatever follows", () => {
    const payload = noise(new Random(3), 1000);
    const padded = Buffer.concat([payload, Buffer.alloc(5000)]).toString("base64");
    for (const cut of [1, 7, 1333, 10_000]) {
      expect(decode(padded, { len: 1000, size: 2000 }, () => cut)).toEqual({
        bytes: new Uint8Array(payload),
      });
    }
  });

  test("without len all decoded bytes count, and size is not held against them", () => {
    const payload = noise(new Random(4), 100);
    expect(decode(payload.toString("base64"), { size: 5000 })).toEqual({ bytes: new Uint8Array(payload) });
    expect(decode(payload.toString("base64"), { size: 10 })).toEqual({ bytes: new Uint8Array(payload) });
  });

  test("missing padding at the very end is forgiven", () => {
    expect(decode("AAEC/w", { len: 4 })).toEqual({ bytes: new Uint8Array([0, 1, 2, 255]) });
  });
});

describe("what is cut short or garbled is told, never given out", () => {
  const payload = noise(new Random(5), 300);
  const text = payload.toString("base64");

  test("shorter than len", () => {
    expect(decode(text.slice(0, 392), { len: 300 })).toEqual({ broken: "294 of 300 bytes came" });
  });
  test("shorter than enclen", () => {
    expect(decode(text.slice(0, 392), { enclen: 400 })).toMatchObject({
      broken: "392 of 400 characters came",
    });
  });
  test("one character over", () => {
    expect(decode(text.slice(0, 397), {})).toMatchObject({ broken: "its last characters are missing" });
  });
  test("characters that are not base64, at every place", () => {
    for (let at = 0; at < text.length; at += 7) {
      const bad = `${text.slice(0, at)}*${text.slice(at + 1)}`;
      expect(decode(bad, { len: 300 }, () => 11)).toEqual({ broken: "its text is not base64" });
      expect(decode(bad, { len: 300 })).toEqual({ broken: "its text is not base64" });
    }
  });
  test("text after the padding", () => {
    expect(decode("AAEC/w==AAEC", {})).toMatchObject({ broken: expect.stringMatching(/padding|base64/) });
    expect(decode("AAEC/w==AAEC", {}, () => 4)).toMatchObject({ broken: "text after its padding" });
  });
  test("more than the limit, declared or not", () => {
    expect(decode("", { len: 2000 }, undefined, 1000)).toEqual({
      broken: "2000 bytes declared, 1000 allowed",
    });
    expect(decode(Buffer.alloc(2000).toString("base64"), {}, () => 100, 1000)).toMatchObject({
      broken: expect.stringMatching(/1000/),
    });
  });
});
