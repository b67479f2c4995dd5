import { expect, test } from "vitest";
import { registerInspect } from "../../../agent/commands/inspect.ts";
import type { FlatPair } from "../../../agent/files/inspect/inspect-pairs.ts";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { complaintsOf, onlyUnproved } from "../procedures/flat/complaints.ts";
import { evenfield } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

const electronsPerAdu = 0.35;
const levelAdu = 50_000;
const cards: Card[] = [
  { keyword: "IMAGETYP", value: "Flat Field" },
  { keyword: "EGAIN", value: electronsPerAdu },
];
const noise = Math.sqrt(levelAdu / electronsPerAdu);

/** Frames of one sensor whose pixels differ by 0.8 %, with photon noise; `light` is what is not of the sensor. */
function frames(sky: SkyFiles, lights: readonly ((x: number, y: number) => number)[]): string[] {
  const random = new Random(77);
  const response = Float32Array.from(
    { length: sky.widthPx * sky.heightPx },
    () => 1 + 0.008 * random.gauss(),
  );
  return lights.map((light, k) =>
    sky.write(`flat-${k}.fits`, (x, y) => levelAdu * light(x, y) * response[y * sky.widthPx + x]!, {
      noise,
      cards,
    }),
  );
}

const dustAt = (x0: number) => (x: number, y: number) =>
  1 - 0.03 * (1 - Math.tanh((Math.hypot(x - x0, y - 70) - 8) / 1.5));
const clear = dustAt(90);

async function inspect(...files: string[]) {
  const host = await evenfield(registerInspect, ["inspect", ...files, "--json"]);
  return host.json;
}

const figureOf = (pair: FlatPair, id: string) => pair.figures.find((one) => one.id === id)!;

test("a single good frame is not blamed for its pixels' own response, and what it can't tell is said", async () => {
  using sky = new SkyFiles(1, 192, 144);
  const json = await inspect(...frames(sky, [clear]));
  expect(complaintsOf(json.files[0])).toEqual(onlyUnproved);
  expect(json.files[0].notJudged.map(({ id }: { id: string }) => id)).toEqual([
    "photonLimit",
    "constancy",
    "leftoverSun",
  ]);
  const told = await evenfield(registerInspect, ["inspect", sky.path("flat-0.fits")]);
  expect(told.out).toContain("not judged: noise against what photons allow");
});

test("two frames of one light tell noise from pixel response, and are good", async () => {
  using sky = new SkyFiles(2, 192, 144);
  const json = await inspect(...frames(sky, [clear, (x, y) => 0.98 * clear(x, y)]));
  expect(json.files.flatMap(complaintsOf)).toEqual([...onlyUnproved, ...onlyUnproved]);
  const [pair] = json.pairs;
  expect(pair.figures.every(({ verdict }: { verdict: string }) => verdict === "good")).toBe(true);
  expect(Math.abs(figureOf(pair, "photonLimit").value - 1)).toBeLessThan(0.05);
  expect(json.files[0].notJudged.map(({ id }: { id: string }) => id)).toEqual(["leftoverSun"]);
});

test.each<[what: string, id: string, light: (x: number, y: number) => number]>([
  [
    "a cloud's edge of 4 %",
    "pairLight",
    (x, y) => clear(x, y) * (1 - 0.02 * (1 + Math.tanh((x - 100) / 25))),
  ],
  ["dust that moved by 4.7 px", "pairChange", dustAt(94.7)],
  ["dust that came", "pairChange", (x, y) => clear(x, y) * dustAt(140)(x, y + 20)],
])("%s between two frames is seen", async (_, id, light) => {
  using sky = new SkyFiles(3, 192, 144);
  const json = await inspect(...frames(sky, [clear, clear, light]));
  expect(json.verdict).toBe("bad");
  const [same, other] = json.pairs as [FlatPair, FlatPair];
  expect(figureOf(same, id).verdict).toBe("good");
  expect(figureOf(other, id).verdict).toBe("bad");
});

test("a cover that leaks 2 % of a flat's level on one side is seen in a dark, and an even dark is good", async () => {
  using sky = new SkyFiles(4, 192, 144);
  const dark = [{ keyword: "IMAGETYP", value: "Dark" }];
  const even = sky.write("even.fits", () => 320, { noise: 12, cards: dark });
  const leak = sky.write("leak.fits", (x) => 320 + 0.02 * levelAdu * Math.exp(-x / 40), {
    noise: 12,
    cards: dark,
  });
  const [good, bad] = (await inspect(even, leak)).files;
  expect(good.verdict).toBe("good");
  expect(bad.verdict).toBe("bad");
  expect(bad.reasons.join()).toContain("unevenness of the dark");
});
