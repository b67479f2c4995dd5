import { describe, expect, test } from "vitest";
import type { StepError } from "../../../../agent/procedures/step-error.ts";
import type { Rig } from "../../../../drivers/roles/rig.ts";
import { centringOn } from "./centre-on-world.ts";

/** Disc diameters over the frame's height; everything else is drawn from the seed. */
function sized(seed: number, discPerHeight: number, more: Parameters<typeof centringOn>[1] = {}) {
  const pixelMicron = 3.75;
  const radians = (2 * 959.63 * Math.PI) / 648_000;
  const focalLengthMm = (discPerHeight * 300 * pixelMicron) / 1000 / radians;
  return centringOn(seed, {
    ...more,
    camera: { pixelMicron, ...more.camera },
    optics: { focalLengthMm, apertureMm: focalLengthMm / 8 },
  });
}

const pointingOff = (east: number, north: number) => ({
  mount: { pointingErrorDegrees: { east, north } },
});

test("a cover that says it is closed and is open: the covered frames show it, and nothing is searched for", async () => {
  const scene = sized(105, 0.9, pointingOff(0.02, 0.02));
  scene.world.cover.pretend(1);
  const outcome = await scene.run();
  expect(outcome.ended).toBe("unsafe");
  expect(outcome.failure?.message).toContain("behind the cover, which says that it is closed");
});

describe("the Sun is brought to the middle of the frame", () => {
  test.each([
    ["a small disc, half a degree off", 0.4, 0.4, -0.3],
    ["a disc that nearly fills the frame, in view from the start", 0.9, 0.05, 0.1],
    ["a disc larger than the frame whose corners still show limb", 1.3, -0.2, 0.4],
    ["a disc twice the frame's height: limbs walked", 2, 0.3, 0.2],
    ["three times the frame's height, and the search begins inside the disc", 3, 0.02, 0.01],
    ["a disc at the end of the search", 0.7, 1, -1.1],
  ])("%s", async (_, discPerHeight, east, north) => {
    const scene = sized(101, discPerHeight, pointingOff(east, north));
    const outcome = await scene.run();
    expect(outcome.failure?.message).toBeUndefined();
    expect(outcome.ended).toBe("completed");
    expect(outcome.found?.way).toBe(discPerHeight > 1.5 ? "limb-walk" : "closed-loop");
    expect(scene.trueOffsetFraction()).toBeLessThan(0.002);
    expect(scene.world.cover.position).toBe(1);
    expect(scene.clock.pendingTimers).toBeLessThanOrEqual(1); // the mount watches its own limits while it tracks
  });

  test("what was found is told: camera angle, parity, scale and the mount's error", async () => {
    const scene = sized(102, 0.6, {
      ...pointingOff(0.3, 0.2),
      camera: { angleDegrees: 37, parity: -1 },
      startsWith: { rotatorDegrees: 0 },
    });
    await scene.run();
    const { cameraOnSky, pointingError, sunPointing } = scene.findings;
    expect(cameraOnSky?.parity).toBe(-1);
    expect(Math.abs(cameraOnSky!.angleDegrees - 37)).toBeLessThan(4);
    expect(cameraOnSky!.arcsecPerPx / ((2 * 959.63) / (0.6 * 300))).toBeCloseTo(1, 1);
    expect(pointingError!.eastArcsec / 3600).toBeCloseTo(0.3, 1);
    expect(pointingError!.northArcsec / 3600).toBeCloseTo(0.2, 1);
    expect(sunPointing).toEqual(scene.world.mount.believed);
  });

  test("the second time the kept camera and pointing save the search and the nudges", async () => {
    const scene = sized(103, 0.7, pointingOff(0.8, 0.5));
    const first = await scene.run();
    const movesBefore = first.found!.moveCount;
    const second = await scene.run();
    expect(second.ended).toBe("completed");
    expect(second.found!.moveCount).toBeLessThan(4);
    expect(second.found!.moveCount).toBeLessThan(movesBefore / 2);
    expect(scene.trueOffsetFraction()).toBeLessThan(0.002);
  });

  test("the camera was turned since: the first correction shows it, and the angle is measured anew", async () => {
    const scene = sized(104, 0.7, pointingOff(0.1, 0.1));
    await scene.run();
    const { pxPerArcsec, ...rest } = scene.findings.cameraOnSky!;
    const [a, b, c, d] = pxPerArcsec;
    scene.findings.cameraOnSky = { ...rest, pxPerArcsec: [-b, a, -d, c] }; // a quarter turn
    delete scene.findings.pointingError;
    const outcome = await scene.run();
    expect(outcome.ended).toBe("completed");
    expect(scene.notes.map((note) => note.event)).toContain("the kept camera angle does not hold any more");
    expect(scene.findings.cameraOnSky!.pxPerArcsec[0]).toBeCloseTo(a, 1);
    expect(scene.trueOffsetFraction()).toBeLessThan(0.002);
  });
});

describe("rigs that are not in order", () => {
  test.each([
    ["play of 80 and 120 arcsec in the gears", { mount: { backlashArcsec: { east: 80, north: 120 } } }],
    [
      "a drift of a fifth of an arcsecond per second",
      { mount: { driftArcsecPerSecond: { east: 0.2, north: -0.2 } } },
    ],
    [
      "clouds that take half the light within a minute",
      { sky: { cloud: { lossMax: 0.5, periodSeconds: 60 } } },
    ],
    [
      "a Sun so faint that a hundredth of a second hardly shows it",
      { sun: { centreElectronsPerSecond: 3000 } },
    ],
    ["a bright haze round the Sun", { sky: { aureoleFraction: 0.03 } }],
    [
      "light that leaks in beside the cover",
      {
        rig: {
          leak: { aduPerSecond: 30_000, through: "gap", shape: "gradient", degrees: 20, reachDegrees: 20 },
        },
      },
    ],
    [
      "corners at a third of the light, and one hot pixel in three hundred",
      { rig: { vignetting: { atCorner: 0.65 } }, camera: { hotPixels: { fraction: 0.003 } } },
    ],
  ] as const)("%s", async (_, overrides) => {
    for (const seed of [201, 206]) {
      const scene = centringOn(seed, overrides);
      const outcome = await scene.run();
      expect(outcome.failure?.message, `seed ${seed}`).toBeUndefined();
      expect(scene.trueOffsetFraction(), `seed ${seed}`).toBeLessThan(0.002);
    }
  });
});

describe("it is safe all the way", () => {
  test("the cover is closed on every slew until the telescope is at the Sun, and the first frame is the shortest", async () => {
    const scene = sized(111, 0.7, { ...pointingOff(0.6, 0), startsWith: { cover: "open" } });
    await scene.run();
    const { history } = scene.world;
    const firstSlew = history.findIndex((moment) => moment.what === "slewStarted");
    const slewEnd = history.findIndex((moment) => moment.what === "slewEnded");
    expect(firstSlew).toBeGreaterThan(0);
    for (const moment of history.slice(firstSlew, slewEnd + 1)) expect(moment.coverOpen).toBe(0);
    const firstOpenFrame = history.find((m) => m.what === "exposureStarted" && m.coverOpen === 1);
    expect(Number.parseFloat(firstOpenFrame!.detail!)).toBe(scene.spec.camera.exposureSecondsMin);
  });

  test("without its filter the Sun is 10 000 times brighter: cover closed at once, unsafe", async () => {
    for (const known of [true, false]) {
      const scene = sized(112, 0.7, pointingOff(0.05, 0.05));
      if (known) {
        await scene.run();
        scene.world.filterFitted = false;
      } else {
        scene.world.filterFitted = false;
      }
      const outcome = await scene.run();
      expect(outcome.ended, `history ${known}`).toBe("unsafe");
      expect(outcome.failure?.message).toMatch(/far too bright/);
      expect(scene.world.cover.position).toBe(0);
      if (known) expect(outcome.found).toBeUndefined();
    }
  });

  test("six times the history's level trips, twice does not", async () => {
    const scene = sized(113, 0.7, pointingOff(0.05, 0.05));
    await scene.run();
    const honest = scene.findings.lightRate.none!;
    const rateBefore = (times: number) => ({ ...honest, edgeAduPerSecond: honest.edgeAduPerSecond / times });
    scene.findings.clearestRate = { none: rateBefore(2) };
    expect((await scene.run()).ended).toBe("completed");
    scene.findings.clearestRate = { none: rateBefore(6) };
    expect((await scene.run()).ended).toBe("unsafe");
    expect(scene.world.cover.position).toBe(0);
  });

  test("a Sun below the limit: refused, nothing has moved", async () => {
    const scene = sized(114, 0.7);
    const before = scene.world.account();
    const outcome = await scene.run({ request: { sunAltitudeDegreesMin: 85 } });
    expect(outcome.ended).toBe("failed");
    expect(outcome.failure?.message).toMatch(/below the limit of 85°/);
    expect(scene.world.account().mount).toEqual(before.mount);
  });

  test("a Sun beyond the search bound: not found, cover closed, mount still", async () => {
    const scene = sized(115, 0.5, pointingOff(1.2, 0.8));
    const outcome = await scene.run({ request: { searchDegrees: 0.5 } });
    expect(outcome.ended).toBe("failed");
    expect(outcome.failure?.message).toMatch(/no limb of the Sun at \d+ places? within 0.5°/);
    expect(scene.world.cover.position).toBe(0);
    expect(scene.world.mount.phase).toBe("still");
  });

  test.each([0.5, 2])("a rig file whose focal length is %f times the true one: said so", async (times) => {
    const scene = sized(119, 0.5, pointingOff(0.2, 0.1));
    const { optics } = scene.bench;
    Object.assign(scene.bench, { optics: { ...optics, focalLengthMm: times * optics.focalLengthMm } });
    const outcome = await scene.run({ request: { searchDegrees: 0.5 } });
    expect(outcome.ended).toBe("failed");
    expect(outcome.failure?.message).toMatch(
      /a disc of 7\d px radius is in view, where (3\d|14\d) px are expected/,
    );
    const said = /the disc is ([\d.]+) times as large as the rig file makes it/.exec(
      (outcome.failure as StepError).whatToDo,
    );
    expect(Number(said?.[1]) * times).toBeCloseTo(1, 1);
    expect(scene.world.cover.position).toBe(0);
  });

  test("stopped by hand or by the sky at any second: the step in hand settles, the cover closes", async () => {
    const seconds = [0.5, 3, 9, 20, 31, 33, 40, 55, 70];
    for (const afterSeconds of seconds) {
      const scene = sized(116, 2, pointingOff(0.5, 0.3));
      const outcome = await scene.run({ stop: { afterSeconds, because: "cloud" } });
      expect(outcome.ended, `after ${afterSeconds} s`).toBe("stopped");
      expect(scene.world.cover.position).toBe(0);
      expect(scene.world.cover.moving).toBe(false);
      expect(scene.world.camera.phase).toBe("idle");
      expect(scene.world.mount.jogging).toBe(false);
      await scene.clock.drive(scene.clock.sleep(1)); // the world watches what moved for a moment longer
      expect(scene.clock.pendingTimers).toBeLessThanOrEqual(1); // the mount watches its own limits while it tracks
    }
  });

  test("a cover that will not close before the slew: unsafe, the mount has not moved", async () => {
    const scene = sized(117, 0.7, { startsWith: { cover: "open" } });
    const stuck: Rig = {
      ...scene.rig,
      cover: {
        ...scene.rig.cover!,
        ensureClosed: () => Promise.reject(new Error("cover stuck")),
      },
    };
    const outcome = await scene.run({ rig: stuck });
    expect(outcome.ended).toBe("unsafe");
    expect(outcome.failure?.message).toBe("the telescope could not be covered: cover stuck");
    expect(scene.world.history.some((moment) => moment.what === "slewStarted")).toBe(false);
  });

  test("asked to close the cover afterwards, it does", async () => {
    const scene = sized(118, 0.6, pointingOff(0.1, 0));
    const outcome = await scene.run({ request: { coverAfter: "closed" } });
    expect(outcome.ended).toBe("completed");
    expect(scene.world.cover.position).toBe(0);
  });
});

test("a rig without a front cover takes its pedestal from the first frame", async () => {
  const scene = sized(122, 0.6, pointingOff(0.2, 0.1));
  scene.world.cover.moveTo(1);
  await scene.clock.drive(scene.clock.sleep(10));
  const { cover: _, ...rig } = scene.rig;
  const outcome = await scene.run({ rig });
  expect(outcome.ended).toBe("completed");
  expect(scene.trueOffsetFraction()).toBeLessThan(0.002);
});

test("a mount whose nudges do nothing: three calibrations or none, then it says so and closes the cover", async () => {
  const scene = sized(123, 0.6, pointingOff(0.05, 0.05));
  const outcome = await scene.run({
    rig: { ...scene.rig, mount: { ...scene.rig.mount!, nudge: async () => {} } },
  });
  expect(outcome.ended).toBe("failed");
  expect(outcome.failure?.message).toMatch(/could not be measured by nudging the mount/);
  expect(scene.world.cover.position).toBe(0);
});

test("a frame that shows less than a twelfth of the disc is refused with its size", async () => {
  const scene = sized(121, 14, pointingOff(0, 0));
  const outcome = await scene.run();
  expect(outcome.ended).toBe("failed");
  expect(outcome.failure?.message).toMatch(/400 × 300 px shows less than a twelfth/);
  expect(scene.world.cover.position).toBe(0);
});
