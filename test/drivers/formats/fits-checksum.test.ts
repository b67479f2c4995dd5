import { expect, test } from "vitest";
import { addSums, checksumText, sumOfBytes } from "../../../drivers/formats/fits-checksum.ts";
import { Random } from "../../../drivers/kit/random.ts";

/** Word by word, as the standard tells it. */
function plainSum(bytes: Uint8Array): number {
  let sum = 0;
  for (let i = 0; i < bytes.length; i += 4) {
    sum += ((bytes[i]! * 256 + (bytes[i + 1] ?? 0)) * 256 + (bytes[i + 2] ?? 0)) * 256 + (bytes[i + 3] ?? 0);
    if (sum > 0xffffffff) sum -= 0xffffffff;
  }
  return sum;
}

test("any length, alignment and order of parts gives the sum that the standard's own way gives", () => {
  for (let seed = 1; seed <= 200; seed++) {
    const random = new Random(seed);
    const length = Math.floor(random.uniform() * 5000);
    const shift = Math.floor(random.uniform() * 4);
    const high = random.uniform() < 0.3;
    const bytes = Uint8Array.from({ length: length + shift }, () =>
      high ? 255 : random.uniform() * 256,
    ).subarray(shift);
    expect(sumOfBytes(bytes), `seed ${seed}`).toBe(plainSum(bytes));
    const cut = Math.floor(random.uniform() * length);
    const parts = addSums(sumOfBytes(bytes.subarray(cut), cut), sumOfBytes(bytes.subarray(0, cut)));
    expect(parts, `seed ${seed}`).toBe(plainSum(bytes));
  }
});

test("sixteen characters without punctuation bring the whole to all ones", () => {
  for (let seed = 1; seed <= 200; seed++) {
    const sum = Math.floor(new Random(seed).uniform() * 2 ** 32);
    const text = checksumText(sum);
    expect(text, `seed ${seed}`).toMatch(/^[0-9A-Za-z]{16}$/);
    // In a header the characters begin one byte before a word; sixteen zeros are summed already.
    const written = sumOfBytes(new TextEncoder().encode(text), 3);
    const zeros = sumOfBytes(new TextEncoder().encode("0".repeat(16)), 3);
    expect(addSums(sum, addSums(written, 0xffffffff - zeros)), `seed ${seed}`).toBe(0xffffffff);
  }
});
