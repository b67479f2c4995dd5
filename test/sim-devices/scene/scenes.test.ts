import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { describe, expect, test } from "vitest";
import { dustShadows } from "../../../sim-devices/scene/optics/dust-shadow.ts";
import { arcsecPerPx } from "../../../sim-devices/scene/optics/image-geometry.ts";
import { demoScene } from "../../../sim-devices/scene/spec/demo-scene.ts";
import { drawScene } from "../../../sim-devices/scene/spec/draw-scene.ts";
import { parseScene, readScene, SceneFileError } from "../../../sim-devices/scene/spec/read-scene.ts";
import { scaleScene } from "../../../sim-devices/scene/spec/scale-scene.ts";
import { type SceneSpec, sceneSpecSchema } from "../../../sim-devices/scene/spec/scene-spec.ts";

describe("scenes drawn from a seed", () => {
  const scenes = Array.from({ length: 300 }, (_, seed) => drawScene(seed));
  const spread = (of: (scene: SceneSpec) => number) => {
    const values = scenes.map(of).sort((a, b) => a - b);
    return { least: values[0]!, most: values.at(-1)! };
  };

  test("the same seed gives the same scene, another seed another", () => {
    expect(drawScene(42)).toEqual(drawScene(42));
    expect(drawScene(42)).not.toEqual(drawScene(43));
  });

  test("cover the promised ranges and stay inside them", () => {
    const size = spread((s) => (2 * 959.23) / arcsecPerPx(s) / s.camera.heightPx);
    expect(size.least).toBeGreaterThan(0.33);
    expect(size.least).toBeLessThan(0.4);
    expect(size.most).toBeLessThan(3.01);
    expect(size.most).toBeGreaterThan(2.7);
    const error = spread((s) =>
      Math.hypot(s.mount.pointingErrorDegrees.east, s.mount.pointingErrorDegrees.north),
    );
    expect(error.most).toBeLessThanOrEqual(1.5);
    expect(error.most).toBeGreaterThan(1.45);
    const angle = spread((s) => s.camera.angleDegrees);
    expect(angle.least).toBeLessThan(-170);
    expect(angle.most).toBeGreaterThan(170);
    expect(new Set(scenes.map((s) => s.camera.parity)).size).toBe(2);
    expect(new Set(scenes.map((s) => s.camera.words))).toEqual(new Set(["shifted", "repeated", "scaled"]));
    const dust = spread((s) => s.rig.dust.length);
    expect([dust.least, dust.most]).toEqual([6, 20]);
    for (const scene of scenes) {
      for (const { diameterPx, depth } of dustShadows(scene, { ...scene.startsWith, wheelSlot: 1 })) {
        expect(diameterPx).toBeGreaterThan(13.9);
        expect(diameterPx).toBeLessThan(0.171 * scene.camera.widthPx);
        expect(depth).toBeGreaterThan(0.015);
        expect(depth).toBeLessThan(0.101);
      }
    }
  });

  test("hold something of all that light, air and sensor do wrong, modestly, and none of it where none is asked for", () => {
    for (const { camera, rig, sky, mount, sun } of scenes) {
      const { clearShare, fallOffAtCorner, slope, patches, rimGap, transmission } = rig.diffuser;
      for (const share of [
        clearShare!,
        fallOffAtCorner!,
        slope!.peakToPeak,
        ...rig.ghosts!.map((g) => g.share),
      ])
        expect(share).toBeLessThan(0.006);
      expect(Math.max(0, ...patches!.map(({ excess }) => Math.abs(excess)))).toBeLessThan(0.002);
      expect(rimGap!.areaFraction / transmission).toBeLessThan(0.002);
      expect(
        camera.response && camera.banding && camera.rowWanderCodes && camera.dark.glowDoublingSeconds,
      ).toBeTruthy();
      expect(sky.hazeGradient && sky.seeingWander && mount.windShake && sun.changePerHour).toBeTruthy();
      expect(rig.slots[0]!.passband && rig.filterWarmth).toBeTruthy();
    }
    const { diffuser, ghosts } = drawScene(1, {}, 0).rig;
    expect([ghosts, Object.keys(diffuser)]).toEqual([undefined, ["transmission", "lobeDegrees"]]);
  });

  test("a scene on a smaller sensor has its reflections and the sheet's patches in the same places", () => {
    const whole = drawScene(3, { camera: { widthPx: 640, heightPx: 480 } });
    const patch = { xPx: 320, yPx: 120, sigmaPx: 40, excess: 0.01 };
    const half = scaleScene(
      { ...whole, rig: { ...whole.rig, diffuser: { ...whole.rig.diffuser, patches: [patch] } } },
      320,
    );
    expect(half.rig.diffuser.patches).toEqual([{ xPx: 160, yPx: 60, sigmaPx: 20, excess: 0.01 }]);
    expect(half.rig.ghosts!.map(({ xPx, radiusPx, edgePx }) => [2 * xPx, 2 * radiusPx, 2 * edgePx])).toEqual(
      whole.rig.ghosts!.map(({ xPx, radiusPx, edgePx }) => [xPx, radiusPx, edgePx]),
    );
  });

  test("overrides are kept, to any depth, and what depends on the camera fits it", () => {
    const scene = drawScene(5, {
      camera: { widthPx: 1600, heightPx: 1200 },
      sun: { spots: [] },
      rig: { gradient: { peakToPeak: 0 } },
    });
    expect(scene.camera.widthPx).toBe(1600);
    expect(scene.startsWith.region).toEqual({ xPx: 0, yPx: 0, widthPx: 1600, heightPx: 1200 });
    expect(scene.sun.spots).toEqual([]);
    expect(scene.rig.gradient.peakToPeak).toBe(0);
    expect(Math.max(...scene.rig.dust.map((d) => d.xPx))).toBeGreaterThan(800);
    expect(() => drawScene(5, { camera: { widthPx: -3 } })).toThrow();
  });
});

describe("scene files", () => {
  test("an empty file is the demo scene, which is itself valid", () => {
    expect(parseScene("", "empty.yaml")).toEqual(demoScene);
    expect(sceneSpecSchema.parse(demoScene)).toEqual(demoScene);
  });

  test("a file changes what it names", () => {
    const text = "startFrom: { drawnFromSeed: 12 }\nsky:\n  seeingArcsec: 1.5\n";
    expect(parseScene(text, "a.yaml")).toEqual(drawScene(12, { sky: { seeingArcsec: 1.5 } }));
    const leak =
      "rig:\n  leak: { aduPerSecond: 12, through: gap, shape: patch, degrees: 10, reachDegrees: 20 }\n";
    expect(parseScene(leak, "b.yaml").rig.leak?.aduPerSecond).toBe(12);
  });

  test.each([
    ["sky:\n  seeingArcsec: -2\n", "s.yaml:2", "sky.seeingArcsec"],
    ["camera:\n  bits: 12\n  parity: 2\n", "s.yaml:3", "camera.parity"],
    ["sun:\n  colour: green\n", "s.yaml", "colour"],
    ["startFrom: nowhere\n", "s.yaml:1", "startFrom"],
    ["rig:\n  leak: { aduPerSecond: 12 }\n", "s.yaml:2", "rig.leak"],
    ["- 1\n- 2\n", "s.yaml", "map of settings"],
    ["sky: [\n", "s.yaml", "s.yaml"],
    ["sky:\n  seeingArcsec: *nobody\n", "s.yaml:2", "`*nobody` repeats another part"],
    ["sky: &a [*a]\n", "s.yaml:1", "`*a` repeats another part"],
    [`# ${"x".repeat(1_000_000)}\n`, "s.yaml", "at most 1000000 characters"],
  ])("%.40j is refused with its line and its name", (text, line, name) => {
    expect(() => parseScene(text, "s.yaml")).toThrow(SceneFileError);
    expect(() => parseScene(text, "s.yaml")).toThrow(line);
    expect(() => parseScene(text, "s.yaml")).toThrow(name);
  });

  test("a surface image is looked for beside the file", () => {
    const folder = mkdtempSync(join(tmpdir(), "scene-"));
    try {
      const file = join(folder, "scene.yaml");
      const image =
        "{ file: sun.png, centreXPx: 255.5, centreYPx: 255.5, radiusPx: 196.5, poleDegrees: 0, contrastPower: 0.3 }";
      writeFileSync(file, `sun:\n  image: ${image}\n`);
      expect(readScene(file).sun.image?.file).toBe(join(folder, "sun.png"));
      expect(() => readScene(join(folder, "none.yaml"))).toThrow(SceneFileError);
    } finally {
      rmSync(folder, { recursive: true });
    }
  });
});
