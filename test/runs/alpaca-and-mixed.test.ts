import { readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import type { RunReport } from "../../agent/run/record/run-record.ts";
import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { Random } from "../../drivers/kit/random.ts";
import type { RoleName } from "../../drivers/roles/roles.ts";
import { checkWorld } from "../stage/checkers/check-world.ts";
import { openStage, type Stage } from "../stage/stage.ts";

const demoPlan = readFileSync(join(import.meta.dirname, "../../plans/first-flat.yaml"), "utf8");
const allButCamera: readonly RoleName[] = [
  "mount",
  "cover",
  "diffuser",
  "focuser",
  "wheel",
  "rotator",
  "dome",
  "weather",
];

function expectDone(run: Stage, report: RunReport): void {
  expect(report).toMatchObject({ ended: "completed", record: { verdict: "good" }, notAsFound: [] });
  expect(run.differences()).toEqual([]);
  expect(checkWorld(run.world)).toEqual([]);
}

const masterOf = (run: Stage, folder = "run") => readCcdImage(join(run.folder, folder, "flat-master.fits"));

test.each([
  ["everything on Alpaca", "alpaca"],
  ["camera on INDI, mount and the rest on Alpaca", allButCamera],
  ["camera on Alpaca, mount and the rest on INDI", ["camera"]],
  ["the mount alone on Alpaca", ["mount"]],
] as const)("the demo plan, %s: a good flat, and the rig as it was found", async (_, protocol) => {
  await using run = await openStage({ protocol, plan: demoPlan });
  expectDone(run, await run.run());
});

test("the demo plan on devices of interfaces before Platform 7, with gain by index", async () => {
  await using run = await openStage({
    protocol: "alpaca",
    plan: demoPlan,
    alpaca: { platform: 6, gainBy: "index" },
  });
  expectDone(run, await run.run());
});

test("the diffuser hangs on a switch, and the weather on a monitor and a station", async () => {
  const instead = {
    diffuser: "device: Scene Switches, switch: Diffuser",
    weather: "device: Scene Weather, conditions: Scene Station",
  };
  await using run = await openStage({ protocol: "alpaca", rig: { instead }, plan: demoPlan });
  expectDone(run, await run.run());
});

const seed = 20260622;
test.each(Array.from({ length: 6 }, (_, i) => i))(
  `Ctrl-C at a random moment (seed ${seed}, draw %i) on a mixed rig: always put back, exit code 130`,
  async (draw) => {
    const random = new Random(seed).fork(`stop ${draw}`);
    const protocol = draw % 2 === 0 ? "alpaca" : allButCamera;
    await using run = await openStage({ protocol });
    const afterSeconds = random.between(0, 200);
    run.clock.setTimer(afterSeconds, () => run.stop());
    const report = await run.run();
    expect(report.exitCode, `stopped after ${afterSeconds} s`).toBe(130);
    expect(run.differences()).toEqual([]);
    expect(checkWorld(run.world)).toEqual([]);
  },
);

/**
 * Noise and light of a frame follow from the scene's seed, the frame's number and the light path at its time, and a
 * few milliseconds more or less on the way change the light path. So the frames of the first run are kept and given
 * out again by number in the second: what differs then is the protocol alone.
 */
test("the same frames delivered over INDI and over Alpaca: the same master, bit for bit", async () => {
  const frames: { pixelsAdu: Uint16Array; asked: string }[] = [];
  const asked = (ask: { region: object; binning: number }) =>
    `${Object.values(ask.region).join(" ")} ${ask.binning}`;
  const masters: ReturnType<typeof readCcdImage>[] = [];
  for (const protocol of ["indi", "alpaca", ["camera"]] as const) {
    await using run = await openStage({ protocol, plan: demoPlan });
    const { painter } = run.simulator;
    const paint = painter.paint.bind(painter);
    const isFirst = frames.length === 0;
    painter.paint = (light, ask) => {
      if (isFirst) frames[ask.frameNumber] = { pixelsAdu: paint(light, ask), asked: asked(ask) };
      const frame = frames[ask.frameNumber];
      expect(frame?.asked).toBe(asked(ask));
      return frame!.pixelsAdu.slice();
    };
    expectDone(run, await run.run());
    masters.push(masterOf(run));
  }
  const [first, ...others] = masters;
  for (const other of others) {
    expect(other.data).toEqual(first!.data);
    expect(other.sigma).toEqual(first!.sigma);
    expect(other.mask).toEqual(first!.mask);
  }
});

test("two runs of the same scene, one over INDI and one over Alpaca: the same master to the noise", async () => {
  const masters: ReturnType<typeof readCcdImage>[] = [];
  for (const protocol of ["indi", "alpaca"] as const) {
    await using run = await openStage({ protocol, plan: demoPlan });
    expectDone(run, await run.run());
    masters.push(masterOf(run));
  }
  const [indi, other] = masters as [(typeof masters)[0], (typeof masters)[0]];
  let squares = 0;
  let count = 0;
  for (const [i, value] of indi.data.entries()) {
    if (indi.mask![i] !== 0 || other.mask![i] !== 0) continue;
    squares += (value - other.data[i]!) ** 2 / (indi.sigma![i]! ** 2 + other.sigma![i]! ** 2);
    count++;
  }
  expect(count).toBeGreaterThan(0.9 * indi.data.length);
  // In sigmas of a difference of independent masters; frames of one number share their noise, so it is far less than one.
  const rmsSigmas = Math.sqrt(squares / count);
  expect(rmsSigmas).toBeGreaterThan(0);
  expect(rmsSigmas).toBeLessThan(0.5);
});
