import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { FrameAccount } from "../../../agent/rehearsal/frame-account.ts";
import type { ServiceStatus } from "../../../agent/service/service-status.ts";
import { encodeFits } from "../../../drivers/formats/fits-write.ts";
import type { ExposureAsk, LightPath } from "../../../sim-devices/scene/painter-contract.ts";

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "evenfield-frames-"));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

/** A camera that gives frames of one level each, and an agent that writes those it is told to. */
function scene(levels: readonly number[]) {
  const next = [...levels];
  const painter = {
    paint: (_light: LightPath, _ask: ExposureAsk) => new Uint16Array(12).fill(next.shift()!),
  };
  const account = new FrameAccount(painter, folder);
  for (const _ of levels) painter.paint({} as LightPath, { frameType: "light" } as ExposureAsk);
  const status = (progress?: ServiceStatus["progress"]): ServiceStatus => {
    return {
      state: "running",
      sinceUtcMs: 0,
      because: "e is carried out",
      entry: "e",
      ...(progress && { progress }),
    };
  };
  account.noteStatus(status());
  const tell = (done: number) =>
    account.noteStatus(status({ stepIndex: 0, stepCount: 1, what: "images", done, of: 9 }));
  const write = (number: number, level: number, cutBytes = 0) => {
    mkdirSync(join(folder, "run/images"), { recursive: true });
    const bytes = encodeFits([{ pixels: new Uint16Array(12).fill(level), shape: [3, 4], cards: [] }], 0);
    writeFileSync(
      join(folder, `run/images/image-000${number}.fits`),
      bytes.subarray(0, bytes.length - cutBytes),
    );
  };
  return { account, tell, write };
}

test("images as the camera gave them, one more than was told before a kill: nothing is lost", () => {
  const { account, tell, write } = scene([100, 200, 300]);
  write(1, 100);
  tell(1);
  write(2, 300);
  account.judge();
  expect(account.lost).toEqual([]);
  expect(account.keptCount).toBe(2);
});

test.each([
  ["taken by its word and not there", [1], 2, /2 images were taken, and 1 are there/],
  ["one in the row is missing", [1, 3], 2, /one before .*image-0003.fits is missing/],
])("%s", (_, numbers, told, complaint) => {
  const { account, tell, write } = scene([100, 200, 300]);
  for (const number of numbers) write(number, 100 * number);
  tell(told);
  account.judge();
  expect(account.lost).toEqual([expect.stringMatching(complaint)]);
});

test("half written, of no frame of the camera, or twice the same", () => {
  const half = scene([100]);
  half.write(1, 100, 1000);
  half.account.judge();
  expect(half.account.lost).toEqual([expect.stringContaining("bytes")]);
  rmSync(join(folder, "run"), { recursive: true });
  const others = scene([100, 200]);
  others.write(1, 101);
  others.write(2, 200);
  others.write(3, 200);
  others.account.judge();
  expect(others.account.lost).toEqual([
    expect.stringMatching(/image-0001.fits is no frame that the camera gave/),
    expect.stringMatching(/image-0003.fits is there twice/),
  ]);
});
