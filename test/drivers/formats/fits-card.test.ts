import { expect, test } from "vitest";
import { type Card, formatCard } from "../../../drivers/formats/fits-card.ts";
import { parseCards } from "../../../drivers/formats/fits-card-read.ts";
import { Random } from "../../../drivers/kit/random.ts";

const back = (card: Card) => parseCards(formatCard(card));

test("fixed format: value right-justified to column 30, string from column 11", () => {
  expect(formatCard({ keyword: "GAIN", value: 120 })[0]).toBe("GAIN    =                  120".padEnd(80));
  expect(formatCard({ keyword: "LIT", value: true, comment: "yes" })[0]).toBe(
    "LIT     =                    T / yes".padEnd(80),
  );
  expect(formatCard({ keyword: "FILTER", value: "Ha" })[0]).toBe("FILTER  = 'Ha      '".padEnd(80));
  expect(formatCard({ keyword: "EXPTIME", value: 0.0125 })[0]).toBe(
    "EXPTIME =               0.0125".padEnd(80),
  );
  expect(formatCard({ keyword: "TINY", value: 1e-9 })[0]).toBe("TINY    =               1.0E-9".padEnd(80));
});

test("a quote is doubled and comes back single", () => {
  const card = { keyword: "OBSERVER", value: "it's ''x''" };
  expect(formatCard(card)[0]).toContain("'it''s ''''x'''''");
  expect(back(card)).toEqual([card]);
});

test("strings beyond one card go on in CONTINUE and keep their comment", () => {
  const card = { keyword: "NOTE", value: "it's ".repeat(50).trimEnd(), comment: "a long one" };
  const lines = formatCard(card);
  expect(lines.every((line) => line.length === 80)).toBe(true);
  expect(lines.slice(1).every((line) => line.startsWith("CONTINUE  '"))).toBe(true);
  expect(back(card)).toEqual([card]);
});

test("a comment that finds no room beside a string gets cards of its own", () => {
  const card = { keyword: "NOTE", value: "short", comment: `${"word ".repeat(30)}end` };
  expect(back(card)[0]?.value).toBe("short");
  expect(back(card)[0]?.comment).toBe(card.comment);
});

test("no value, and no value for a number that is none", () => {
  expect(back({ keyword: "CCD-TEMP", value: undefined, comment: "off" })).toEqual([
    { keyword: "CCD-TEMP", value: undefined, comment: "off" },
  ]);
  expect(back({ keyword: "CCD-TEMP", value: Number.NaN })[0]?.value).toBeUndefined();
});

test("HISTORY is wrapped at 72 characters", () => {
  const lines = formatCard({ keyword: "HISTORY", value: "x".repeat(100) });
  expect(lines.map((line) => line.trimEnd().length)).toEqual([80, 36]);
});

test("what a header cannot hold is written without accents, or as a question mark", () => {
  expect(formatCard({ keyword: "OBSERVER", value: "café µm \n" })[0]).toContain("'cafe um ?'");
});

test("a keyword that is none is refused", () => {
  for (const keyword of ["lower", "TOO-LONG-X", "A B", "Ä"]) {
    expect(() => formatCard({ keyword, value: 1 })).toThrow(RangeError);
  }
});

test("reads what real devices write", () => {
  const read = (line: string) => parseCards([line.padEnd(80)])[0];
  expect(read("GAIN    =1.5D2 / no blank, D exponent")).toEqual({
    keyword: "GAIN",
    value: 150,
    comment: "no blank, D exponent",
  });
  expect(read("gain    = -.5")).toMatchObject({ keyword: "GAIN", value: -0.5 });
  expect(read("BIG     = 18446744073709551615")).toMatchObject({ value: 18446744073709551615n });
  expect(read("HIERARCH CAM DET GAIN = 'high' / of the detector")).toEqual({
    keyword: "CAM DET GAIN",
    value: "high",
    comment: "of the detector",
  });
  expect(read("ODD     = 12h30m / neither text nor number")).toMatchObject({ value: "12h30m" });
  expect(read("DATE-OBS= '2026-07-14T10:00:00/x' / slash inside")).toMatchObject({
    value: "2026-07-14T10:00:00/x",
    comment: "slash inside",
  });
  expect(read("COMMENT = 'not a value'")).toMatchObject({ keyword: "COMMENT", value: "= 'not a value'" });
});

test("random cards come back as they were", () => {
  for (let seed = 1; seed <= 300; seed++) {
    const random = new Random(seed);
    const letters = (count: number) =>
      Array.from({ length: count }, () => String.fromCharCode(0x20 + Math.floor(random.uniform() * 95))).join(
        "",
      );
    const values = [
      letters(Math.floor(random.uniform() * 200)).trimEnd(),
      "'".repeat(Math.floor(random.uniform() * 150)),
      random.gauss() * 10 ** (Math.floor(random.uniform() * 600) - 300),
      Math.floor(random.gauss() * 1e9),
      random.uniform() < 0.5,
    ];
    for (const value of values) {
      const card = { keyword: "K", value, comment: letters(30).trim() || "c" };
      expect(back(card), `seed ${seed}`).toEqual([card]);
    }
  }
});
