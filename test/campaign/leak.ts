import { leakCheck } from "../../agent/procedures/leak-check/leak-check.ts";
import { Random } from "../../drivers/kit/random.ts";
import { leakOfFlat } from "../../sim-devices/scene/optics/light-leak.ts";
import { drawScene } from "../../sim-devices/scene/spec/draw-scene.ts";
import { benchOnScene, stillMount } from "../agent/procedures/bench-on-world.ts";
import { printTable } from "./print-table.ts";

export interface LeakCampaign {
  readonly scenes: number;
  /** Leaks of the asked size that were reported. */
  readonly found: number;
  /** Scenes without a leak in which one was reported. */
  readonly falseAlarms: number;
  /** Measured over true size. */
  readonly ratioMedian: number;
  readonly ratioLeast: number;
  readonly ratioMost: number;
  /** The largest detection limit that was stated, of the flat's level. */
  readonly detectionLimitMost: number;
  readonly failed: number;
}

/** Each scene is checked twice by the whole procedure: as drawn, and with a leak of that share of the flat's level. */
export async function run(options: {
  seed: number;
  scenes: number;
  leakFraction?: number;
  print?: (line: string) => void;
}): Promise<LeakCampaign> {
  const { seed, scenes, leakFraction = 0.002, print } = options;
  const random = new Random(seed);
  const ratios: number[] = [];
  let [found, falseAlarms, failed, detectionLimitMost] = [0, 0, 0, 0];
  for (let k = 0; k < scenes; k++) {
    const sceneSeed = random.whole(1, 2 ** 31);
    const dry = drawScene(sceneSeed, { camera: { widthPx: 160, heightPx: 128 }, mount: stillMount });
    const how = {
      through: random.pick(["gap", "cover"] as const),
      shape: random.pick(["gradient", "patch"] as const),
      degrees: random.between(0, 360),
      reachDegrees: random.between(5, 25),
    };
    const leaky = { ...dry, rig: { ...dry.rig, leak: leakOfFlat(dry, leakFraction, how) } };
    for (const [spec, hasLeak] of [
      [dry, false],
      [leaky, true],
    ] as const) {
      using rig = benchOnScene(spec);
      const ask = { limitFraction: 0.05, frames: 16, levelFraction: 0.85, coverAfter: "closed" } as const;
      const outcome = await rig.run(leakCheck, ask);
      if (!outcome.found) {
        failed++;
        print?.(`scene ${sceneSeed}${hasLeak ? " with a leak" : ""}: ${outcome.failure?.message}`);
        continue;
      }
      const report = outcome.found;
      detectionLimitMost = Math.max(detectionLimitMost, report.detectionLimitFraction);
      if (report.found && !hasLeak) {
        falseAlarms++;
        print?.(`scene ${sceneSeed}: a leak of ${report.leakFraction} reported where there is none`);
      }
      if (!hasLeak) continue;
      if (report.found) found++;
      else print?.(`scene ${sceneSeed}: leak ${JSON.stringify(how)} not found, ${report.leakFraction}`);
      ratios.push(report.meanLeakAdu / report.flatLevelAdu / leakFraction);
    }
  }
  ratios.sort((a, b) => a - b);
  const result = {
    scenes,
    found,
    falseAlarms,
    ratioMedian: ratios[ratios.length >> 1] ?? Number.NaN,
    ratioLeast: ratios[0] ?? Number.NaN,
    ratioMost: ratios.at(-1) ?? Number.NaN,
    detectionLimitMost,
    failed,
  };
  printTable(print, `Leak: ${scenes} scenes, ${100 * leakFraction} % of the flat's level, seed ${seed}`, [
    ["leaks found", `${found} of ${scenes}`, "≥ 99 %"],
    ["reported without one", `${falseAlarms} of ${scenes}`, "≤ 1 %"],
    ["mean leak, measured over true, median", result.ratioMedian.toFixed(3), ""],
    ["least and most", `${result.ratioLeast.toFixed(3)}, ${result.ratioMost.toFixed(3)}`, ""],
    ["largest detection limit", `${(100 * detectionLimitMost).toFixed(4)} %`, ""],
    ["checks that came to nothing", failed, "0"],
  ]);
  return result;
}
