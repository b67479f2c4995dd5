import { describe, expect, test } from "vitest";
import { Random } from "../../../drivers/kit/random.ts";
import { Wander } from "../../../sim-devices/scene/mechanics/wander.ts";
import { ScenePainter } from "../../../sim-devices/scene/painter.ts";
import type { LightPath } from "../../../sim-devices/scene/painter-contract.ts";
import type { SceneOverrides } from "../../../sim-devices/scene/spec/override-scene.ts";
import { bareWorld } from "../sim-session.ts";
import { ask, lightOn, meanOf, moments, plainScene } from "./plain-scene.ts";

function rmsOf(values: ArrayLike<number>): number {
  const mean = meanOf(values);
  return Math.sqrt(meanOf(Array.from(values, (value) => (value - mean) ** 2)));
}

async function watch(overrides: SceneOverrides, count: number, everySeconds: number) {
  const { world, pass } = bareWorld(overrides);
  const seen: ReturnType<typeof world.lightPathNow>[] = [];
  for (let k = 0; k < count; k++) {
    seen.push(world.lightPathNow());
    await pass(everySeconds);
  }
  world.close();
  return seen;
}

test("what wanders has mean 0 and rms 1, and is smooth within its period", () => {
  const wander = Wander.normal(new Random(5), 10);
  const values = Array.from({ length: 20_000 }, (_, k) => wander.at(1000 * k));
  expect(Math.abs(meanOf(values))).toBeLessThan(0.1);
  expect(rmsOf(values)).toBeCloseTo(1, 1);
  const steps = values.slice(1).map((value, k) => value - values[k]!);
  expect(rmsOf(steps)).toBeLessThan(0.25);
});

test("a calm world has none of it", async () => {
  const [now] = await watch({}, 1, 1);
  for (const key of ["hazeGradient", "seeingTimes", "filterWarmerCelsius", "sunAgeHours"])
    expect(now).not.toHaveProperty(key);
});

describe("haze that is thicker on one side", () => {
  test("tilts the light of the Sun across the frame, not that of the sheet and not the dark", () => {
    const spec = plainScene({
      camera: { dark: { electronsPerSecond: 1000 } },
      sky: { aureoleFraction: 0.01 },
    });
    const painter = new ScenePainter(spec);
    const hazeGradient = { acrossX: 0.02, acrossY: -0.01 };
    const factor = (change: Partial<LightPath>) => {
      const [hazy, clear, dark] = [
        painter.expectedElectrons(lightOn(spec, { ...change, hazeGradient }), ask(spec)),
        painter.expectedElectrons(lightOn(spec, change), ask(spec)),
        painter.expectedElectrons(lightOn(spec, { coverOpenFraction: 0 }), ask(spec)),
      ];
      return (x: number, y: number) => {
        const i = y * 320 + x;
        return (hazy[i]! - dark[i]!) / (clear[i]! - dark[i]!);
      };
    };
    const picture = factor({});
    expect(picture(0, 0)).toBeCloseTo(1 + 0.02 * (0.5 / 320 - 0.5) - 0.01 * (0.5 / 240 - 0.5), 4);
    expect(picture(319, 120) - picture(0, 120)).toBeCloseTo((0.02 * 319) / 320, 4);
    expect(picture(160, 239) - picture(160, 0)).toBeCloseTo((-0.01 * 239) / 240, 4);
    expect(factor({ diffuserInPlace: true })(10, 10)).toBe(1);
  });

  test("comes and goes by its rms on either axis", async () => {
    const seen = await watch({ sky: { hazeGradient: { rms: 0.003, periodSeconds: 5 } } }, 2000, 2);
    for (const axis of ["acrossX", "acrossY"] as const) {
      expect(rmsOf(seen.map(({ hazeGradient }) => hazeGradient![axis])) / 0.003).toBeCloseTo(1, 1);
    }
  });
});

test("seeing that comes and goes: the picture is as soft as the seeing of its moment", async () => {
  const spec = plainScene();
  const painter = new ScenePainter(spec);
  const spread = (seeingTimes: number) =>
    moments(painter.expectedElectrons(lightOn(spec, { seeingTimes }), ask(spec)), 320).xx;
  // 8 arcsec of 9.9 a pixel
  const sigma2 = (8 / 2.3548 / painter.truth().arcsecPerPx) ** 2;
  expect((spread(8) - spread(4)) / (sigma2 * (64 - 16))).toBeCloseTo(1, 1);
  const seen = await watch({ sky: { seeingWander: { rms: 0.3, periodSeconds: 5 } } }, 2000, 2);
  expect(rmsOf(seen.map(({ seeingTimes }) => Math.log(seeingTimes!))) / 0.3).toBeCloseTo(1, 1);
});

test("wind shakes the line of sight by its rms", async () => {
  const calm = await watch({}, 1000, 3);
  const shaken = await watch({ mount: { windShake: { rmsArcsec: 1.5, periodSeconds: 2 } } }, 1000, 3);
  for (const axis of ["sunEastArcsec", "sunNorthArcsec"] as const) {
    expect(rmsOf(shaken.map((light, k) => light[axis] - calm[k]![axis])) / 1.5).toBeCloseTo(1, 1);
  }
});

describe("a filter beside its line", () => {
  const passband = { lineDepth: 0.6, detuning: 0.1, towardsCorner: 0.4, perCelsius: 0.05 };
  const spec = plainScene({ rig: { slots: [{ name: "narrow", transmission: 1, passband }] } });
  const level = (detuning: number) => 1 - 0.6 * 2 ** -(detuning ** 2);

  test("passes more light where it is off the line, and the true flat says so", () => {
    const { flat } = new ScenePainter(spec).truth();
    expect(flat[0]! / flat[120 * 320 + 160]!).toBeCloseTo(level(0.5) / level(0.1), 4);
  });

  test("drifts with its warmth, for the sheet as for the Sun", () => {
    const painter = new ScenePainter(spec);
    const ratio = (filterWarmerCelsius: number) => {
      const light = lightOn(spec, { diffuserInPlace: true, filterWarmerCelsius });
      const electrons = painter.expectedElectrons(light, ask(spec));
      return electrons[0]! / electrons[120 * 320 + 160]!;
    };
    expect(ratio(4)).toBeCloseTo(level(0.7) / level(0.3), 4);
    const { flat } = painter.truth({ filterWarmerCelsius: 4 });
    expect(flat[0]! / flat[120 * 320 + 160]!).toBeCloseTo(level(0.7) / level(0.3), 4);
  });

  test("warms and cools by its rms", async () => {
    const seen = await watch({ rig: { filterWarmth: { rmsCelsius: 2, periodSeconds: 5 } } }, 2000, 2);
    expect(rmsOf(seen.map(({ filterWarmerCelsius }) => filterWarmerCelsius!)) / 2).toBeCloseTo(1, 1);
  });
});

describe("a Sun that changes", () => {
  const sun = { granulation: { rms: 0 }, network: { rms: 0.05, scaleArcsec: 60 } };
  const spot = { at: { u: 0, v: 0 }, radiusArcsec: 100, depth: 0.5 };
  const picture = (overrides: SceneOverrides["sun"], sunAgeHours: number) => {
    const spec = plainScene({ sun: { changePerHour: 0.1, ...overrides } });
    return new ScenePainter(spec).expectedElectrons(lightOn(spec, { sunAgeHours }), ask(spec));
  };

  test("exchanges a tenth of its texture's contrast in an hour, and keeps its strength", () => {
    const patch = (electrons: Float32Array) => {
      const rows = Array.from({ length: 80 }, (_, y) =>
        electrons.subarray((y + 80) * 320 + 120, (y + 80) * 320 + 200),
      );
      return Float64Array.from(
        rows.flatMap((row) => [...row]),
        Math.log,
      );
    };
    const [drawn, smooth] = [patch(picture(sun, 0)), patch(picture({}, 0))];
    const contrast = rmsOf(drawn.map((value, i) => value - smooth[i]!));
    for (const hours of [1, 5]) {
      const aged = patch(picture(sun, hours));
      // cos, sin of the angle of exchange: the difference is a chord, 2 sin(angle/2)
      const expected = 2 * Math.sin((0.1 * hours) / 2);
      expect(
        Math.abs(rmsOf(aged.map((value, i) => value - drawn[i]!)) / contrast / expected - 1),
      ).toBeLessThan(0.15);
      expect(Math.abs(rmsOf(aged.map((value, i) => value - smooth[i]!)) / contrast - 1)).toBeLessThan(0.15);
    }
  });

  test("its spots grow or fade by as much", () => {
    const depth = (hours: number) => {
      const [spotted, plain] = [picture({ spots: [spot] }, hours), picture({}, hours)];
      return 1 - spotted[120 * 320 + 160]! / plain[120 * 320 + 160]!;
    };
    expect(Math.abs(depth(2) / depth(0) - 1)).toBeCloseTo(0.2, 2);
  });

  test("ages with the world's clock", async () => {
    const seen = await watch({ sun: { changePerHour: 0.1 } }, 3, 1800);
    expect(seen.map(({ sunAgeHours }) => sunAgeHours)).toEqual([0, 0.5, 1]);
  });
});

describe("the camera's read-out", () => {
  const rowMeans = (camera: NonNullable<SceneOverrides["camera"]>, frameNumber: number) => {
    const spec = plainScene({ camera });
    const frame = new ScenePainter(spec).paint(
      lightOn(spec, { coverOpenFraction: 0 }),
      ask(spec, { seconds: 0, frameNumber }),
    );
    return Array.from({ length: 240 }, (_, y) => meanOf(frame.subarray(320 * y, 320 * (y + 1))) - 100);
  };

  test("rows wander, each by its own and anew in every frame", () => {
    const [a, b] = [rowMeans({ rowWanderCodes: 2 }, 1), rowMeans({ rowWanderCodes: 2 }, 2)];
    expect(Math.abs(rmsOf(a) / 2 - 1)).toBeLessThan(0.15);
    expect(Math.abs(rmsOf(a.map((value, y) => value - b[y]!)) / (2 * Math.SQRT2) - 1)).toBeLessThan(0.15);
    expect(rmsOf(rowMeans({}, 1))).toBeLessThan(0.1);
  });

  test("bands go down the rows by their period, of another phase in every frame", () => {
    const sine = (frameNumber: number) => {
      const rows = rowMeans({ banding: { amplitudeCodes: 3, periodRows: 24 } }, frameNumber);
      const part = (wave: (angle: number) => number) =>
        meanOf(rows.map((value, y) => 2 * value * wave((2 * Math.PI * y) / 24)));
      return {
        amplitude: Math.hypot(part(Math.cos), part(Math.sin)),
        phase: Math.atan2(part(Math.cos), part(Math.sin)),
      };
    };
    const [a, b] = [sine(1), sine(2)];
    expect(a.amplitude).toBeCloseTo(3, 1);
    expect(b.amplitude).toBeCloseTo(3, 1);
    expect(Math.abs(a.phase - b.phase)).toBeGreaterThan(0.01);
  });

  test("a glow that grows: twice as strong after its time, so that long darks don't scale", () => {
    const spec = plainScene({
      camera: { dark: { glowElectronsPerSecond: 10, glowDoublingSeconds: 20, doublingCelsius: 1e9 } },
    });
    const painter = new ScenePainter(spec);
    const corner = (seconds: number) =>
      painter.expectedElectrons(lightOn(spec, { coverOpenFraction: 0 }), ask(spec, { seconds }))[0]!;
    expect(corner(1)).toBeCloseTo(10 * (1 + 1 / 40), 3);
    expect(corner(20)).toBeCloseTo(10 * 20 * 1.5, 2);
  });
});
