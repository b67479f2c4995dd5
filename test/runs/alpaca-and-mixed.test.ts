import { readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { checkWorld } from "../../agent/rehearsal/checkers/check-world.ts";
import type { RunReport } from "../../agent/run/record/run-record.ts";
import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { Random } from "../../drivers/kit/random.ts";
import type { RoleName } from "../../drivers/roles/roles.ts";
import type { ProtocolChoice } from "../stage/rig-text.ts";
import { sceneOfWidth, tinyScene } from "../stage/scenes.ts";
import { openStage, type Stage } from "../stage/stage.ts";

/** Large enough for a good flat. */
const scene = sceneOfWidth(160);
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

/** Every step of the demo plan, with as few frames as still make a good flat. */
const shortPlan = `plan: short
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check: { frames: 4 }
  - flat: { blur: diffuser, frames: 24, darkFrames: 8 }
  - images: { frames: 2 }
`;

function expectDone(run: Stage, report: RunReport): void {
  expect(report).toMatchObject({ ended: "completed", record: { verdict: "good" }, notAsFound: [] });
  expect(run.differences()).toEqual([]);
  expect(checkWorld(run.world)).toEqual([]);
}

type Paint = Stage["simulator"]["painter"]["paint"];

/** The demo plan from end to end. @returns its master @param painting what paints in the painter's place */
async function demoMaster(
  protocol: ProtocolChoice,
  painting: (paint: Paint) => Paint = (paint) => paint,
): Promise<ReturnType<typeof readCcdImage>> {
  await using run = await openStage({ scene, protocol, plan: demoPlan });
  const { painter } = run.simulator;
  painter.paint = painting(painter.paint.bind(painter));
  expectDone(run, await run.run());
  return readCcdImage(join(run.folder, "run", "flat-master.fits"));
}

const askedFor = (ask: Parameters<Paint>[1]) => `${Object.values(ask.region).join(" ")} ${ask.binning}`;

/** The frames of the run on INDI, by their number. */
const indiFrames: { pixelsAdu: Uint16Array; asked: string }[] = [];
const indiMaster = once(() =>
  demoMaster("indi", (paint) => (light, ask) => {
    indiFrames[ask.frameNumber] = { pixelsAdu: paint(light, ask), asked: askedFor(ask) };
    return indiFrames[ask.frameNumber]!.pixelsAdu.slice();
  }),
);
const alpacaMaster = once(() => demoMaster("alpaca"));

function once<T>(work: () => Promise<T>): () => Promise<T> {
  let begun: Promise<T> | undefined;
  return () => {
    begun ??= work();
    return begun;
  };
}

test("the demo plan, everything on Alpaca: a good flat, and the rig as it was found", async () => {
  await alpacaMaster();
});

test.each([
  ["camera on INDI, mount and the rest on Alpaca", allButCamera],
  ["camera on Alpaca, mount and the rest on INDI", ["camera"]],
  ["the mount alone on Alpaca", ["mount"]],
] as const)("every step, %s: a good flat, and the rig as it was found", async (_, protocol) => {
  await using run = await openStage({ scene, protocol, plan: shortPlan });
  expectDone(run, await run.run());
});

test("every step on devices of interfaces before Platform 7, with gain by index", async () => {
  await using run = await openStage({
    scene,
    protocol: "alpaca",
    plan: shortPlan,
    alpaca: { platform: 6, gainBy: "index" },
  });
  expectDone(run, await run.run());
});

test("the diffuser hangs on a switch, and the weather on a monitor and a station", async () => {
  const instead = {
    diffuser: "device: Scene Switches, switch: Diffuser",
    weather: "device: Scene Weather, conditions: Scene Station",
  };
  await using run = await openStage({ scene, protocol: "alpaca", rig: { instead }, plan: shortPlan });
  expectDone(run, await run.run());
});

const seed = 20260622;
test.each(Array.from({ length: 6 }, (_, i) => i))(
  `Ctrl-C at a random moment (seed ${seed}, draw %i) on a mixed rig: always put back, exit code 130`,
  async (draw) => {
    const random = new Random(seed).fork(`stop ${draw}`);
    const protocol = draw % 2 === 0 ? "alpaca" : allButCamera;
    await using run = await openStage({ scene: tinyScene, protocol });
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
  const first = await indiMaster();
  for (const protocol of ["alpaca", ["camera"]] as const) {
    const other = await demoMaster(protocol, () => (_, ask) => {
      const frame = indiFrames[ask.frameNumber];
      expect(frame?.asked).toBe(askedFor(ask));
      return frame!.pixelsAdu.slice();
    });
    expect(other.data).toEqual(first.data);
    expect(other.sigma).toEqual(first.sigma);
    expect(other.mask).toEqual(first.mask);
  }
});

test("two runs of the same scene, one over INDI and one over Alpaca: the same master to the noise", async () => {
  const [indi, other] = [await indiMaster(), await alpacaMaster()];
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
