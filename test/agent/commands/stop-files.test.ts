import { readdirSync, readFileSync } from "node:fs";
import { expect, test } from "vitest";
import { registerApply } from "../../../agent/commands/apply.ts";
import { registerCombine } from "../../../agent/commands/combine.ts";
import { registerInspect } from "../../../agent/commands/inspect.ts";
import { registerMatch } from "../../../agent/commands/match.ts";
import { addMaster } from "../../../agent/run/ledger/history.ts";
import { Ledger } from "../../../agent/run/ledger/ledger.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { evenfield, StoppedHost } from "./command-host.ts";
import { SkyFiles } from "./sky-files.ts";

function expectStopped(host: StoppedHost, state: string): void {
  expect(host.exitCode, host.err).toBe(130);
  expect(host.err.match(/^Stopping\.$/gm)).not.toBeNull();
  expect(host.err).toContain(`Stopped by the operator.\n${state}`);
  expect(host.signals.eventNames()).toEqual([]);
}

const flatCards = [{ keyword: "IMAGETYP", value: "Flat Field" }];

/** Frames of so many pixels that a master of them has several tiles. */
function framesOf(sky: SkyFiles, count: number): string[] {
  return Array.from({ length: count }, (_, index) =>
    sky.write(`frame-${index}.fits`, () => 20_000, { noise: 100, cards: flatCards }),
  );
}

test.each(["series", "clipped", "displaced"])(
  "Ctrl-C while %s is computed ends with 130 and leaves no file, no part and no scratch",
  async (method) => {
    using sky = new SkyFiles(1, 160, 128);
    const files = framesOf(sky, 8);
    const args = ["combine", ...files, "-o", sky.path("m.fits"), "--method", method];
    expectStopped(
      (await evenfield(registerCombine, args, new StoppedHost())) as StoppedHost,
      "Nothing was written.",
    );
    expect(readdirSync(sky.folder).filter((name) => name.startsWith("m.fits"))).toEqual([]);
  },
);

test("Ctrl-C while numbers of other types are combined leaves no part either", async () => {
  using sky = new SkyFiles(2);
  const files = [7, 9].map((level) => {
    const pixels = new Uint8Array(2200 * 1000).fill(level);
    writeFitsFile(sky.path(`${level}.fits`), [{ pixels, shape: [1000, 2200] }], {
      writtenUtcMs: 0,
      replace: false,
    });
    return sky.path(`${level}.fits`);
  });
  const host = new StoppedHost();
  await evenfield(registerCombine, ["combine", ...files, "-o", sky.path("m.fits")], host);
  expectStopped(host, "Nothing was written.");
  expect(readdirSync(sky.folder).toSorted()).toEqual(["7.fits", "9.fits"]);
});

const applied = "Results that are finished are whole; an unfinished sequence goes on from where it came.";

test("Ctrl-C between two images: the first is whole, the second was not begun, and the rest is done the next time", async () => {
  using sky = new SkyFiles(3);
  const flat = sky.write("flat.fits", (x, y) => 20_000 * sky.gain(x, y), { cards: flatCards });
  const images = [1, 2, 3].map((index) => sky.write(`sun-${index}.fits`, (x, y) => 9000 * sky.gain(x, y)));
  const args = [
    "apply",
    ...images,
    "--flat",
    flat,
    "-o",
    sky.path("out"),
    "--despite-move",
    "--despite-dark",
    "--despite-kind",
  ];
  const host = new StoppedHost();
  await evenfield(registerApply, args, host);
  expectStopped(host, applied);
  expect(readdirSync(sky.path("out"))).toEqual(["sun-1.fits"]);
  const next = await evenfield(registerApply, [...args, "--json"]);
  expect(next.exitCode).toBe(0);
  expect(next.json.applied.map((one: { ended: string }) => one.ended)).toEqual([
    "done before",
    "written",
    "written",
  ]);
});

test("Ctrl-C between two frames of a cube: what there is of it stays a part, and the next time makes it whole", async () => {
  using sky = new SkyFiles(4);
  const flat = sky.write("flat.fits", (x, y) => 20_000 * sky.gain(x, y), { cards: flatCards });
  const pixels = Uint16Array.from({ length: 5 * 48 * 32 }, (_, i) => 5000 + (i % 977));
  const cube = sky.path("cube.fits");
  writeFitsFile(cube, [{ pixels, shape: [5, 32, 48] }], { writtenUtcMs: 0, replace: false });
  const apply = (folder: string, host?: StoppedHost) =>
    evenfield(
      registerApply,
      [
        "apply",
        cube,
        "--flat",
        flat,
        "-o",
        sky.path(folder),
        "--despite-move",
        "--despite-dark",
        "--despite-kind",
      ],
      host,
    );
  const host = new StoppedHost();
  await apply("stopped", host);
  expectStopped(host, applied);
  expect(readdirSync(sky.path("stopped"))).toEqual(["cube.fits.part"]);
  for (const folder of ["stopped", "whole"]) expect((await apply(folder)).exitCode).toBe(0);
  expect(readdirSync(sky.path("stopped"))).toEqual(["cube.fits"]);
  expect(readFileSync(sky.path("stopped/cube.fits")).equals(readFileSync(sky.path("whole/cube.fits")))).toBe(
    true,
  );
});

test("Ctrl-C ends inspecting and matching between two files", async () => {
  using sky = new SkyFiles(5, 160, 128);
  const files = framesOf(sky, 3);
  const inspecting = new StoppedHost();
  await evenfield(registerInspect, ["inspect", ...files], inspecting);
  expectStopped(inspecting, "Nothing was changed.");
  expect(inspecting.out).toBe("");
  const ledgerFile = sky.path("ledger.sqlite");
  {
    using ledger = new Ledger(ledgerFile);
    for (const [index, file] of files.entries()) {
      const run = { runId: `run ${index}`, file, madeUtcMs: index, verdict: "good", facts: {} };
      addMaster(ledger, { rig: "roof", trainMark: "train" }, { kind: "flat", ...run });
    }
  }
  const matching = new StoppedHost();
  const image = sky.write("image.fits", () => 9000, { noise: 90 });
  await evenfield(registerMatch, ["match", image, "--ledger", ledgerFile], matching);
  expectStopped(matching, "Nothing was changed.");
});
