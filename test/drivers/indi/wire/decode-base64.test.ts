import { describe, expect, test } from "vitest";
import { BlobText } from "../../../../drivers/indi/wire/blob-text.ts";
import { decodePlain, textBytesMax } from "../../../../drivers/indi/wire/decode-base64.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { SpareMemory } from "../../../../drivers/kit/spare-memory.ts";

const plainCharacters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
const blanks = "\t\n\f\r ";

function decoded(text: string): Buffer {
  return Buffer.from(decodePlain(Buffer.from(text, "latin1")));
}

function plainText(random: Random, length: number): string {
  return Array.from({ length }, () => random.pick(plainCharacters.split(""))).join("");
}

describe("base64 by vectors", () => {
  test("each of the 256 characters at each place of a turn is decoded, or its turn left alone", () => {
    const neighbours = plainText(new Random(1), 192);
    for (let code = 0; code < 256; code++) {
      const character = String.fromCharCode(code);
      for (let at = 0; at < 64; at++) {
        const text = neighbours.slice(0, 64 + at) + character + neighbours.slice(65 + at);
        const plain = plainCharacters.includes(character) ? text : text.slice(0, 64);
        expect(decoded(text).equals(Buffer.from(plain, "base64")), `${code} at ${at}`).toBe(true);
      }
    }
  });

  test("texts of every length up to the longest: whole turns", () => {
    const long = plainText(new Random(2), textBytesMax);
    for (const length of [0, 1, 15, 16, 63, 64, 65, 127, 128, 1000, textBytesMax - 1, textBytesMax]) {
      const whole = long.slice(0, length - (length % 64));
      expect(decoded(long.slice(0, length)).equals(Buffer.from(whole, "base64"))).toBe(true);
    }
  });

  test("against the runtime's own decoder: any damage is told or decodes to the very same", () => {
    const seed = 70_311;
    const random = new Random(seed);
    const outcomes = { same: 0, refused: 0 };
    for (let round = 0; round < 3000; round++) {
      const characters = plainText(random, 4 * random.whole(1, 200)).split("");
      for (let damages = random.whole(0, 3); damages > 0; damages--) {
        const at = random.whole(0, characters.length - 1);
        const strange = random.pick([
          "=",
          "-",
          "_",
          "\0",
          "\v",
          "é",
          "ÿ",
          String.fromCharCode(random.whole(0, 255)),
        ]);
        characters.splice(at, random.whole(0, 1), random.pick([strange, ...blanks.split("")]));
      }
      const text = characters.join("");
      const blob = new BlobText(
        { len: undefined, size: undefined, enclen: undefined },
        2 ** 20,
        new SpareMemory(),
      );
      const bytes = Buffer.from(text, "latin1");
      const pieceMax = random.pick([3, 70, 1000]);
      for (let at = 0; at < bytes.length; ) {
        const end = Math.min(bytes.length, at + random.whole(1, pieceMax));
        blob.write(bytes, at, end);
        at = end;
      }
      const outcome = blob.end();
      const note = `seed ${seed} round ${round}`;
      let expected: Uint8Array | undefined;
      try {
        expected = Uint8Array.fromBase64(text, { lastChunkHandling: "loose" });
      } catch {}
      if (expected === undefined) expect(outcome, note).toHaveProperty("broken");
      else expect("bytes" in outcome && Buffer.from(outcome.bytes).equals(expected), note).toBe(true);
      outcomes[expected ? "same" : "refused"]++;
    }
    expect(Math.min(outcomes.same, outcomes.refused)).toBeGreaterThan(300);
  });
});
