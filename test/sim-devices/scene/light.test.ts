import { describe, expect, test } from "vitest";
import { diffuserFlatAduPerSecond, leakOfFlat } from "../../../sim-devices/scene/optics/light-leak.ts";
import { ScenePainter } from "../../../sim-devices/scene/painter.ts";
import { demoScene } from "../../../sim-devices/scene/spec/demo-scene.ts";
import { overrideScene } from "../../../sim-devices/scene/spec/override-scene.ts";
import { airMass } from "../../../sim-devices/scene/sun/sky-light.ts";
import { ask, lightOn, meanOf, plainScene } from "./plain-scene.ts";

describe("how much light there is", () => {
  const spec = plainScene({ sky: { extinctionMagPerAirmass: 0.12, aureoleFraction: 1e-3 } });
  const painter = new ScenePainter(spec);
  const flat = (change: Parameters<typeof lightOn>[1], seconds = 0.1) =>
    meanOf(
      painter.expectedElectrons(lightOn(spec, { diffuserInPlace: true, ...change }), ask(spec, { seconds })),
    );

  test("air mass is Kasten and Young's", () => {
    for (const [altitude, x] of [
      [90, 0.9997],
      [60, 1.154],
      [45, 1.4126],
      [30, 1.9943],
      [20, 2.9031],
      [15, 3.8129],
      [10, 5.586],
      [5, 10.3058],
    ] as const) {
      expect(airMass(altitude)).toBeCloseTo(x, 4);
    }
  });

  test("a sinking Sun fades as the worked exposure ratios say", () => {
    for (const [from, to, ratio] of [
      [60, 50, 1.0167],
      [40, 30, 1.0499],
      [30, 20, 1.1057],
      [20, 15, 1.1058],
    ] as const) {
      expect(flat({ sunAltitudeDegrees: from }) / flat({ sunAltitudeDegrees: to })).toBeCloseTo(ratio, 4);
    }
    expect(flat({ sunAltitudeDegrees: -3 })).toBe(0);
  });

  test("half a cover lets half the light in, a cloud its share, a slot its transmission; between slots there is none", () => {
    const full = flat({});
    expect(flat({ coverOpenFraction: 0.5 }) / full).toBeCloseTo(0.5, 6);
    expect(flat({ transparency: 0.7 }) / full).toBeCloseTo(0.7, 6);
    expect(flat({ wheelSlot: 2 }) / full).toBeCloseTo(0.8, 6);
    expect(flat({ wheelSlot: 1.5 })).toBe(0);
    expect(flat({}, 0.2) / full).toBeCloseTo(2, 6);
  });

  test("the diffuser costs about a hundredfold and leaves nothing of the Sun, wherever the Sun is", () => {
    const bare = painter.expectedElectrons(lightOn(spec), ask(spec, { seconds: 0.1 }));
    expect(bare[120 * 320 + 160]! / flat({})).toBeCloseTo(100, -1);
    const aside = painter.expectedElectrons(
      lightOn(spec, { diffuserInPlace: true, sunEastArcsec: 1800 }),
      ask(spec),
    );
    expect(Math.max(...aside) / Math.min(...aside)).toBeLessThan(1.0001);
    expect(flat({ sunEastArcsec: 6 * 3600 }) / flat({})).toBeCloseTo(0.5, 3);
  });

  test("the sky round the Sun is faint and fades outwards", () => {
    const sky = (degrees: number) =>
      meanOf(
        painter.expectedElectrons(
          lightOn(spec, { sunNorthArcsec: 3600 * degrees }),
          ask(spec, { seconds: 1 }),
        ),
      );
    const disc = spec.sun.centreElectronsPerSecond * 10 ** (-0.4 * 0.12 * airMass(60));
    expect(sky(2) / disc).toBeLessThan(1e-4);
    expect(sky(2) / sky(2.5)).toBeCloseTo(4, 1);
  });

  test("the demo exposes as a real rig: milliseconds bare, tenths of a second with the diffuser", () => {
    const demo = new ScenePainter(demoScene);
    const target = 0.85 * 4095 * demoScene.camera.electronsPerCodeAtGain0;
    const secondsFor = (diffuserInPlace: boolean) => {
      const frame = demo.expectedElectrons(
        lightOn(demoScene, { diffuserInPlace, focusSteps: 10_240 }),
        ask(demoScene, { seconds: 1e-3 }),
      );
      const sorted = frame.toSorted();
      return (1e-3 * target) / sorted[Math.floor(0.999 * sorted.length)]!;
    };
    const bare = secondsFor(false);
    expect(bare).toBeGreaterThan(1e-3);
    expect(bare).toBeLessThan(1e-2);
    expect(secondsFor(true)).toBeGreaterThan(0.1);
    expect(secondsFor(true)).toBeLessThan(1);
  });

  test("six decades of brightness stay linear from the faintest to the brightest", () => {
    for (const decade of [-3, -1.5, 0, 1.5, 3]) {
      const scene = plainScene({
        sun: { centreElectronsPerSecond: 3.6e6 * 10 ** decade },
        camera: { fullWellElectrons: 1e9 },
      });
      const light = lightOn(scene, { diffuserInPlace: true });
      const frame = new ScenePainter(scene).paint(light, ask(scene, { seconds: 0.2 / 10 ** decade }));
      expect((meanOf(frame) - 100) * 3.6).toBeCloseTo(7200, -1);
    }
  });
});

describe("a light leak", () => {
  const how = { through: "gap", shape: "gradient", degrees: 30, reachDegrees: 20 } as const;
  const clean = plainScene({ sky: { extinctionMagPerAirmass: 0.15 } });
  const leaky = overrideScene(clean, { rig: { leak: leakOfFlat(clean, 0.002, how) } });

  test.each(["gradient", "patch"] as const)(
    "%s: two thousandths of the flat's level are that at any altitude and exposure",
    (shape) => {
      const spec = overrideScene(clean, { rig: { leak: leakOfFlat(clean, 0.002, { ...how, shape }) } });
      const painter = new ScenePainter(spec);
      for (const [seconds, sunAltitudeDegrees, transparency] of [
        [0.3, 60, 1],
        [5, 25, 0.9],
      ] as const) {
        const light = lightOn(spec, { sunAltitudeDegrees, transparency, sunSemidiameterArcsec: 944 });
        const covered = painter.expectedElectrons({ ...light, coverOpenFraction: 0 }, ask(spec, { seconds }));
        const flat = new ScenePainter(clean).expectedElectrons(
          { ...light, diffuserInPlace: true },
          ask(clean, { seconds }),
        );
        expect(meanOf(covered) / meanOf(flat)).toBeCloseTo(0.002, 6);
        expect(painter.truth().leak?.fractionOfFlat).toBeCloseTo(0.002, 9);
        expect(Math.max(...covered) / meanOf(covered)).toBeGreaterThan(1.3);
      }
    },
  );

  test("is there in the frames as sent, in words: the declared rate", () => {
    const sent = overrideScene(leaky, { camera: { words: "shifted" } });
    const leak = leakOfFlat(sent, 0.01, how);
    expect(leak.aduPerSecond).toBeCloseTo(0.01 * diffuserFlatAduPerSecond(sent, 1), 9);
    const spec = overrideScene(sent, { rig: { leak }, sky: { extinctionMagPerAirmass: 0 } });
    const painter = new ScenePainter(spec);
    const frame = painter.paint(lightOn(spec, { coverOpenFraction: 0 }), ask(spec, { seconds: 2 }));
    expect(Math.abs((meanOf(frame) - 1600) / 2 / leak.aduPerSecond - 1)).toBeLessThan(0.01);
  });

  test("fades as the telescope turns from the Sun, and is gone beyond its reach and after sunset", () => {
    const painter = new ScenePainter(leaky);
    const level = (degrees: number, sunAltitudeDegrees = 60) =>
      meanOf(
        painter.expectedElectrons(
          lightOn(leaky, { coverOpenFraction: 0, sunNorthArcsec: degrees * 3600, sunAltitudeDegrees }),
          ask(leaky),
        ),
      );
    expect(level(10) / level(0)).toBeCloseTo(0.5, 2);
    expect(level(20.1)).toBe(0);
    expect(level(0, -5)).toBe(0);
    expect(level(0)).toBeGreaterThan(0);
  });

  test("a translucent cover leaks only while it is closed, a gap always", () => {
    const covers = overrideScene(leaky, {
      rig: { leak: leakOfFlat(clean, 0.01, { ...how, through: "cover" }) },
    });
    const added = (spec: typeof covers) =>
      meanOf(new ScenePainter(spec).expectedElectrons(lightOn(spec, { diffuserInPlace: true }), ask(spec))) /
      meanOf(
        new ScenePainter(clean).expectedElectrons(lightOn(clean, { diffuserInPlace: true }), ask(clean)),
      );
    expect(added(covers)).toBeCloseTo(1, 6);
    expect(added(leaky)).toBeCloseTo(1.002, 6);
    expect(
      meanOf(
        new ScenePainter(covers).expectedElectrons(lightOn(covers, { coverOpenFraction: 0 }), ask(covers)),
      ),
    ).toBeGreaterThan(0);
  });
});
