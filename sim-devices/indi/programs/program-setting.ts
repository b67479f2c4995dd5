import { acceleratedClock, type Clock, systemClock } from "../../../drivers/kit/clock.ts";
import { demoScene } from "../../scene/spec/demo-scene.ts";
import { readScene } from "../../scene/spec/read-scene.ts";
import type { SceneSpec } from "../../scene/spec/scene-spec.ts";
import type { DriverPipes } from "../run-driver.ts";

/**
 * A device server starts a driver without arguments, so its settings come from the environment:
 * EVENFIELD_SCENE a scene file (left out: the demo's), EVENFIELD_SEED another draw of it,
 * EVENFIELD_CLOCK "speed,startUtcMs,epochMs" for a time of its own (left out: the machine's).
 * @throws RangeError, SceneFileError
 */
export function programSetting(env: Readonly<Record<string, string | undefined>>): {
  spec: SceneSpec;
  clock: Clock;
} {
  const scene = env.EVENFIELD_SCENE ? readScene(env.EVENFIELD_SCENE) : demoScene;
  const seed = env.EVENFIELD_SEED === undefined ? scene.seed : Number(env.EVENFIELD_SEED);
  if (!Number.isInteger(seed) || seed < 0 || seed > 0xffffffff) {
    throw new RangeError(
      `EVENFIELD_SEED is ${env.EVENFIELD_SEED}; a whole number from 0 to 4294967295 is allowed`,
    );
  }
  return { spec: { ...scene, seed }, clock: clockOf(env.EVENFIELD_CLOCK) };
}

function clockOf(text: string | undefined): Clock {
  if (text === undefined) return systemClock;
  const [speed = Number.NaN, startUtcMs = Number.NaN, epochMs = Number.NaN] = text.split(",").map(Number);
  if (!(speed > 0 && Number.isFinite(startUtcMs) && Number.isFinite(epochMs))) {
    throw new RangeError(`EVENFIELD_CLOCK is ${text}; three numbers are allowed: speed, startUtcMs, epochMs`);
  }
  return acceleratedClock({ speed, startUtcMs, epochMs });
}

/** Standard input and output as a driver's pipes; what is said to people goes to standard error. */
export function standardPipes(): DriverPipes {
  return {
    input: process.stdin,
    write: (bytes) => {
      process.stdout.write(bytes);
    },
    log: (line) => {
      process.stderr.write(`${line}\n`);
    },
  };
}
