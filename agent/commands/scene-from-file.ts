import { Option } from "commander";
import { demoScene } from "../../sim-devices/scene/spec/demo-scene.ts";
import { readScene, SceneFileError } from "../../sim-devices/scene/spec/read-scene.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { numberOption } from "./number-option.ts";
import { wrongInput } from "./outcome.ts";

/** The scene of a file, or the demo's; with a seed, another draw of its chance. @throws CommandError */
export function sceneFromFile({ scene, seed }: { scene?: string; seed?: number }): SceneSpec {
  try {
    const spec = scene === undefined ? demoScene : readScene(scene);
    return seed === undefined ? spec : { ...spec, seed };
  } catch (error) {
    if (!(error instanceof SceneFileError)) throw error;
    throw wrongInput("Nothing was started.", error.message, "Correct the lines named above.", error);
  }
}

export const sceneOption = () => new Option("--scene <file>", "the scene; left out, that of the demo");

export const seedOption = () =>
  new Option("--seed <number>", "another draw of the same scene").argParser(
    numberOption(
      "a whole number from 0 to 4294967295",
      (seed) => Number.isInteger(seed) && seed >= 0 && seed <= 0xffffffff,
    ),
  );

export const speedOf = numberOption("a number above 0", (speed) => Number.isFinite(speed) && speed > 0);
