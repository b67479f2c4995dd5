/** A small storm: one run per seed with drawn faults, on both protocols, judged by the world alone. */
import { Random } from "../../drivers/kit/random.ts";
// From outside the repository: import { … } from "evenfield/stage";
import { at, drawFaults, openStage, playRun, stopAsked, tinyScene } from "./stage.ts";

/** @returns what went wrong, one line each, with all that is needed to play it again */
export async function playStorm(seeds: readonly number[]): Promise<string[]> {
  const troubles: string[] = [];
  for (const seed of seeds) {
    for (const protocol of ["indi", "alpaca"] as const) {
      const random = new Random(seed).fork("faults");
      const faults = drawFaults(random, { count: 2, withinSeconds: 200, protocol });
      const run = await playRun({ scene: tinyScene, seed, protocol, faults });
      for (const { checker, what } of run.violations) troubles.push(`${checker}: ${what} (${run.origin})`);
      if (run.exitCode === 0 && run.differences.length > 0)
        troubles.push(`not as found: ${run.differences.join(", ")} (${run.origin})`);
    }
  }
  return troubles;
}

/** A run that the operator stops, an agent that is killed in the next, and a third process that puts the rig back. */
export async function playKill(seed: number, killedAfterSeconds: number) {
  await using stage = await openStage({ scene: tinyScene, seed });
  const stopped = await stage.play({ faults: [at(60).begins(stopAsked("SIGTERM"))] });
  stage.clock.setTimer(killedAfterSeconds, () => stage.killAgent());
  const killed = await stage.play();
  const leftByKill = stage.differences();
  await stage.restore();
  return { stopped: stopped.exitCode, killed: killed.ended, leftByKill, leftAtEnd: stage.differences() };
}

if (import.meta.main) {
  const troubles = await playStorm([1, 2, 3, 4]);
  process.stdout.write(`${troubles.join("\n") || "nothing went wrong"}\n`);
}
