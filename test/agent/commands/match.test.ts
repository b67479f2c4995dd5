import { expect, test } from "vitest";
import { registerApply } from "../../../agent/commands/apply.ts";
import { registerMatch } from "../../../agent/commands/match.ts";
import { addMaster } from "../../../agent/run/ledger/history.ts";
import { Ledger } from "../../../agent/run/ledger/ledger.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { evenfield } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

const size = { widthPx: 280, heightPx: 210 };
const sky = (seed: number) => new SkyFiles(seed, size.widthPx, size.heightPx);

/** Nine dust shadows of a train, moved by so much. */
function dustOf(train: number, shift = { x: 0, y: 0 }) {
  const random = new Random(train);
  const shadows = Array.from({ length: 9 }, () => ({
    x: random.between(30, 250) + shift.x,
    y: random.between(30, 180) + shift.y,
    radius: random.between(5, 14),
    depth: random.between(0.03, 0.08),
  }));
  return (x: number, y: number) =>
    shadows.reduce(
      (level, one) =>
        level * (1 - one.depth * 0.5 * (1 - Math.tanh(Math.hypot(x - one.x, y - one.y) - one.radius))),
      1 - 0.1 * (((x - 140) / 140) ** 2 + ((y - 105) / 105) ** 2),
    );
}

const flatCards = [{ keyword: "IMAGETYP", value: "Master Flat" }];

/** Four flats of four trains in a ledger; the later, the newer. */
function ledgerWith(files: SkyFiles): { ledger: string; flats: string[] } {
  const flats = [1, 2, 3, 4].map((train) => {
    const dust = dustOf(train);
    return files.write(`flat${train}.fits`, (x, y) => 45_000 * dust(x, y), { noise: 60, cards: flatCards });
  });
  using ledger = new Ledger(files.path("ledger.sqlite"));
  flats.forEach((file, k) => {
    const run = { runId: `run ${k}`, file, madeUtcMs: 1000 * k, verdict: "good", facts: {} };
    addMaster(ledger, { rig: "roof", trainMark: `train${k}` }, { kind: "flat", ...run });
  });
  return { ledger: files.path("ledger.sqlite"), flats };
}

const match = (args: readonly string[]) => evenfield(registerMatch, ["match", ...args]);

test("the flat of the image's own train is found among others, and fits", async () => {
  using files = sky(1);
  const { ledger, flats } = ledgerWith(files);
  const dust = dustOf(2);
  const image = files.write("image.fits", (x, y) => 30_000 * dust(x, y), { noise: 150 });
  const host = await match([image, "--ledger", ledger, "--json"]);
  expect(host.exitCode).toBe(0);
  expect(host.json).toMatchObject({ says: "fits", tried: 4, best: { file: flats[1], trainMark: "train1" } });
  expect(Math.hypot(host.json.best.match.shift.x, host.json.best.match.shift.y)).toBeLessThan(0.1);
});

test("a train that moved by half a pixel is told so, with the shift", async () => {
  using files = sky(2);
  const { ledger, flats } = ledgerWith(files);
  const dust = dustOf(3, { x: 0.4, y: -0.3 });
  const image = files.write("image.fits", (x, y) => 30_000 * dust(x, y), { noise: 150, cards: flatCards });
  const host = await match([image, "--ledger", ledger, "--json"]);
  expect(host.exitCode).toBe(3);
  expect(host.json).toMatchObject({ says: "moved", best: { file: flats[2] } });
  expect(host.json.best.match.shift.x).toBeCloseTo(0.4, 1);
  expect(host.json.best.match.shift.y).toBeCloseTo(-0.3, 1);
  const told = await match([image, "--ledger", ledger]);
  expect(told.out).toContain("Take a new flat.");
});

test("dust that no flat has, and an image of another size: none fits, and why", async () => {
  using files = sky(3);
  const { ledger } = ledgerWith(files);
  const dust = dustOf(9);
  const strange = files.write("strange.fits", (x, y) => 30_000 * dust(x, y), {
    noise: 150,
    cards: flatCards,
  });
  const host = await match([strange, "--ledger", ledger, "--json"]);
  expect(host.exitCode).toBe(3);
  expect(host.json.says).toBe("none");
  using small = new SkyFiles(4, 100, 100);
  const other = await match([
    small.write("small.fits", () => 3000, { noise: 30 }),
    "--ledger",
    ledger,
    "--json",
  ]);
  expect(other.json).toMatchObject({ says: "none", tried: 0 });
  expect(other.json.leftOut).toHaveLength(4);
});

test("a ledger that is not there is a wrong command", async () => {
  using files = sky(5);
  const image = files.write("image.fits", () => 3000, { noise: 30 });
  const host = await match([image, "--ledger", files.path("nowhere.sqlite")]);
  expect(host.exitCode).toBe(2);
  expect(host.err).toContain("There is no ledger");
});

test("apply refuses a flat that has moved, unless told to divide despite that", async () => {
  using files = sky(6);
  const { flats } = ledgerWith(files);
  const dust = dustOf(1, { x: 3, y: 2 });
  const image = files.write("image.fits", (x, y) => 30_000 * dust(x, y), { noise: 150 });
  const args = ["apply", "--despite-dark", "--flat", flats[0]!, image, "-o", files.path("out")];
  const refused = await evenfield(registerApply, args);
  expect(refused.exitCode).toBe(2);
  expect(refused.err).toContain("does not fit");
  const done = await evenfield(registerApply, [...args, "--despite-move"]);
  expect(done.exitCode).toBe(0);
});
