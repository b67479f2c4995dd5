import { expect, test } from "vitest";
import { exposureSpans } from "../../../agent/files/combine/exposure-spans.ts";
import { frameKind } from "../../../agent/files/frame-kind.ts";
import { keptCards } from "../../../agent/files/kept-cards.ts";
import { settingDifferences } from "../../../agent/files/same-setting.ts";
import { timeCards } from "../../../agent/masters/master-cards.ts";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import { FitsHeader } from "../../../drivers/formats/fits-header.ts";
import { encodeFits } from "../../../drivers/formats/fits-write.ts";

const header = (values: Record<string, Card["value"]>) =>
  new FitsHeader(Object.entries(values).map(([keyword, value]) => ({ keyword, value })));

test("the kind of a frame in the spellings that are met", () => {
  const kinds = {
    "Flat Field": "flat",
    FLAT: "flat",
    "Master Flat": "flat",
    "dark frame": "dark",
    zero: "bias",
    "Bias Frame": "bias",
  };
  for (const [text, kind] of Object.entries(kinds))
    expect(frameKind(header({ IMAGETYP: text })), text).toBe(kind);
  for (const text of ["Light Frame", "object", "LIGHT"])
    expect(frameKind(header({ IMAGETYP: text })), text).toBe("image");
  expect(frameKind(header({}))).toBe("image");
  expect(frameKind(header({ FRAME: "Dark" }))).toBe("dark");
});

test("what is handed on can be written: odd keywords become comments, outdated ones go", () => {
  const cards = keptCards([
    { keyword: "OBJECT", value: "Sun" },
    { keyword: "DATAMAX", value: 65535 },
    { keyword: "CAM DET GAIN", value: "high", comment: "of the detector" },
    { keyword: "HISTORY", value: "taken" },
  ]);
  expect(cards).toEqual([
    { keyword: "OBJECT", value: "Sun" },
    { keyword: "COMMENT", value: "CAM DET GAIN = high / of the detector" },
    { keyword: "HISTORY", value: "taken" },
  ]);
  expect(() => encodeFits([{ cards }], 0)).not.toThrow();
});

test("settings that differ are told with both values; what is missing or close says nothing", () => {
  const a = { path: "a", header: header({ EXPTIME: 1, GAIN: 0, FILTER: "Ha" }) };
  const b = { path: "b", header: header({ EXPTIME: 1.01, GAIN: 100, INSTRUME: "cam" }) };
  expect(settingDifferences(a, b)).toEqual(["a has gain 0, b has 100"]);
  expect(settingDifferences(a, b, ["EXPTIME"])).toEqual([]);
  expect(settingDifferences({ path: "c", header: header({ EXPTIME: 2 }) }, b, ["EXPTIME"])).toEqual([
    "c has exposure 2 s, b has 1.01 s",
  ]);
});

test("a master covers the time from its first exposure's start to its last one's end", () => {
  const frame = (start: string) => header({ "DATE-OBS": start, EXPTIME: 4 });
  const cardsOf = (headers: readonly FitsHeader[]) => timeCards(exposureSpans(headers));
  const cards = cardsOf([
    frame("2026-07-14T10:00:20"),
    frame("2026-07-14T10:00:00.5"),
    frame("2026-07-14T10:00:10.000"),
  ]);
  const value = (keyword: string) => cards.find((card) => card.keyword === keyword)?.value;
  expect(value("DATE-OBS")).toBe("2026-07-14T10:00:00.500");
  expect(value("DATE-END")).toBe("2026-07-14T10:00:24.000");
  expect(value("DATE-AVG")).toBe("2026-07-14T10:00:12.166");
  expect(value("MJD-AVG")).toBeCloseTo(61235 + (10 * 3600 + 12.1667) / 86400, 8);
  expect(cardsOf([frame("2026-07-14T10:00:00"), header({})])).toEqual([]);
  expect(cardsOf([frame("yesterday")])).toEqual([]);
});
