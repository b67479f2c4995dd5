import { InvalidArgumentError } from "commander";
import { demoScene } from "../../sim-devices/scene/spec/demo-scene.ts";
import { readScene, SceneFileError } from "../../sim-devices/scene/spec/read-scene.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { CommandError, exitCodes } from "./outcome.ts";

/** The scene of a file, or the demo's; with a seed, another draw of its chance. @throws CommandError */
export function sceneFromFile({ scene, seed }: { scene?: string; seed?: number }): SceneSpec {
  try {
    const spec = scene === undefined ? demoScene : readScene(scene);
    return seed === undefined ? spec : { ...spec, seed };
  } catch (error) {
    if (!(error instanceof SceneFileError)) throw error;
    throw new CommandError(
      exitCodes.wrongInput,
      { happened: error.message, state: "Nothing was started.", whatToDo: "Correct the lines named above." },
      { cause: error },
    );
  }
}

export function speedOf(text: string): number {
  const speed = Number(text);
  if (Number.isFinite(speed) && speed > 0) return speed;
  throw new InvalidArgumentError("a number above 0");
}

export function seedOf(text: string): number {
  const seed = Number(text);
  if (Number.isInteger(seed) && seed >= 0 && seed <= 0xffffffff) return seed;
  throw new InvalidArgumentError("a whole number from 0 to 4294967295");
}
