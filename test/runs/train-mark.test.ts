import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { registerMatch } from "../../agent/commands/match.ts";
import { FitsFile } from "../../drivers/formats/fits-file.ts";
import { evenfield } from "../agent/commands/command-host.ts";
import { openStage } from "../stage/stage.ts";
import { dustyScene } from "./slipping-scene.ts";

const plan = (flat: string) => `plan: marked
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
${flat}  - images: { frames: 1 }
`;
const withFlat = plan(`  - leak-check: { frames: 8 }
  - flat: { blur: diffuser, frames: 12, darkFrames: 8 }
`);

/** One run with a flat, which every test looks at and none changes. */
const flatFolder = mkdtempSync(join(tmpdir(), "evenfield-marked-")); // `match` reads the ledger's file
const flatRun = await openStage({ scene: dustyScene, plan: withFlat, folder: flatFolder });
const flatReport = await flatRun.run();
afterAll(async () => {
  await flatRun[Symbol.asyncDispose]();
  rmSync(flatFolder, { recursive: true, force: true });
});

function headerOf(path: string) {
  using file = FitsFile.open(path);
  return file.image().header;
}

/** The same file with one text card's value changed for another of the same length. */
function changed(path: string, to: string, from: string, value: string): string {
  const bytes = readFileSync(path);
  const at = bytes.indexOf(from);
  expect(at).toBeGreaterThan(0);
  bytes.write(value.padEnd(from.length), at, "latin1");
  writeFileSync(to, bytes);
  return to;
}

test("every file of a run carries the train's mark; `match` finds the master by it, and refuses another train's", async () => {
  const mark = flatReport.record.trainMark!;
  const runFolder = flatReport.folder;
  const files = [
    ...readdirSync(runFolder).filter((name) => name.endsWith(".fits")),
    "images/image-0001.fits",
  ];
  expect(files.length).toBeGreaterThanOrEqual(4);
  for (const file of files) {
    const header = headerOf(join(runFolder, file));
    expect(header.text("TRAINMRK"), file).toBe(mark);
    expect(header.number("XBINNING"), file).toBe(1);
    expect(header.text("FILTER"), file).toBe("narrowband");
    expect(header.number("ROTATANG"), file).toBe(0);
    expect(header.number("XORGSUBF"), file).toBe(0);
  }

  const ledger = flatRun.ledger.file;
  const match = async (file: string) =>
    (await evenfield(registerMatch, ["match", file, "--ledger", ledger, "--json"])).json;
  const sample = join(runFolder, "flat-frame.fits");
  expect(await match(sample)).toMatchObject({
    says: "fits",
    best: { file: join(runFolder, "flat-master.fits"), trainMark: mark, sameTrain: true },
  });

  const otherCamera = changed(
    sample,
    join(flatRun.folder, "other-camera.fits"),
    "Scene Camera",
    "Other Camera",
  );
  expect(await match(otherCamera)).toMatchObject({
    says: "none",
    leftOut: [{ reason: expect.stringContaining("camera Other Camera") }],
  });
});

test.each([
  ["filter", { wheelSlot: 2 }, "filter continuum"],
  ["rotator", { rotatorDegrees: 30 }, "rotator angle 30"],
  ["binning", { binning: 2, region: { xPx: 0, yPx: 0, widthPx: 320, heightPx: 240 } }, "another size"],
  ["region", { region: { xPx: 16, yPx: 8, widthPx: 304, heightPx: 232 } }, "another size"],
] as const)(
  "an image at another %s: the master of the first run is refused, and why",
  async (_, change, why) => {
    const scene = { ...dustyScene, startsWith: { ...dustyScene.startsWith, ...change } };
    await using second = await openStage({ scene, plan: plan("") });
    const after = await second.run();
    expect(after.failure).toBeUndefined();
    expect(after.record.trainMark).not.toBe(flatReport.record.trainMark);
    const host = await evenfield(registerMatch, [
      "match",
      join(second.folder, "run/images/image-0001.fits"),
      "--ledger",
      flatRun.ledger.file,
      "--json",
    ]);
    expect(host.exitCode).toBe(3);
    expect(host.json).toMatchObject({ says: "none", leftOut: [{ reason: expect.stringContaining(why) }] });
  },
);
