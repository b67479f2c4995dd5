import { join } from "node:path";
import { largestError } from "../../agent/imaging/proof/error-budget.ts";
import { flatAgainstTruth } from "../../agent/imaging/proof/flat-against-truth.ts";
import type { FlatFound } from "../../agent/procedures/flat/flat-request.ts";
import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { overrideScene, type SceneOverrides } from "../../sim-devices/scene/spec/override-scene.ts";
import { openStage, sceneOfWidth } from "../stage/stage.ts";

const widthPx = 640;

const faults: Readonly<Record<string, SceneOverrides>> = {
  none: {},
  "clear share 1 %": { rig: { diffuser: { clearShare: 0.01 } } },
  "clear share 3 %": { rig: { diffuser: { clearShare: 0.03 } } },
  "light falls off by 3 %": { rig: { diffuser: { fallOffAtCorner: 0.03 } } },
  "thin patch of 1 %": {
    rig: { diffuser: { patches: [{ xPx: 250, yPx: 200, sigmaPx: 40, excess: 0.01 }] } },
  },
  "tilted sheet, 2 %": { rig: { diffuser: { slope: { peakToPeak: 0.02, degrees: 20 } } } },
  "gap at the rim": { rig: { diffuser: { rimGap: { areaFraction: 1e-4, widthMm: 0.3, degrees: 60 } } } },
  "response bent by 2 %": { camera: { response: { quadratic: 0.02, shoulder: 0 } } },
  "response bent by 5 %": { camera: { response: { quadratic: 0.05, shoulder: 0 } } },
  "standing ghost of 3 %": {
    rig: { ghosts: [{ share: 0.03, motion: 0, xPx: 400, yPx: 280, radiusPx: 90, edgePx: 20 }] },
  },
  "mirrored ghost of 3 %": {
    rig: { ghosts: [{ share: 0.03, motion: -1, xPx: 400, yPx: 280, radiusPx: 90, edgePx: 20 }] },
  },
};

const planText = `plan: light
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check
  - flat: { blur: diffuser, frames: 40 }
`;

export interface LightRun {
  readonly fault: string;
  readonly verdict: string;
  /** True error of the master over what its own sigmas say. */
  readonly overSigma: number;
  /** True error over 32 px blocks, and what the flat's error budget makes of that scale. */
  readonly blockError: number;
  readonly blockBudget: number;
  /** What the proof complains of. */
  readonly reasons: readonly string[];
  readonly notLookedAt: readonly string[];
}

/** Whole runs with one fault of the light at a time: what the verdict says, and how wrong the flat truly is. */
export async function run({
  print,
  count = Object.keys(faults).length,
}: {
  print?: (line: string) => void;
  count?: number;
}): Promise<LightRun[]> {
  const rows: LightRun[] = [];
  print?.(`Flats by diffuser, ${widthPx} px across, one fault of the light at a time`);
  for (const [fault, overrides] of Object.entries(faults).slice(0, count)) {
    const row = await oneRun(fault, overrides);
    rows.push(row);
    print?.(
      `  ${fault.padEnd(24)} ${row.verdict.padEnd(7)} ${row.overSigma.toFixed(1).padStart(5)} sigmas ${percent(row.blockError)} (budget ${percent(row.blockBudget)})  ${row.reasons.join("; ")}`,
    );
  }
  print?.(`  nobody looked at: ${rows[0]?.notLookedAt.join(", ") || "nothing"}`);
  return rows;
}

async function oneRun(fault: string, overrides: SceneOverrides): Promise<LightRun> {
  await using stage = await openStage({
    scene: overrideScene(sceneOfWidth(widthPx), overrides),
    plan: planText,
  });
  const played = await stage.play();
  const step = played.record?.steps.find(({ kind }) => kind === "flat");
  const found = step?.found as FlatFound | undefined;
  if (!found) {
    const { code } = played.record?.failure ?? {};
    if (code === undefined) throw new Error(`${fault}: no flat was made (${played.ended}; ${played.origin})`);
    return {
      fault,
      verdict: "refused",
      overSigma: 0,
      blockError: 0,
      blockBudget: 0,
      reasons: [code],
      notLookedAt: [],
    };
  }
  const master = readCcdImage(join(played.folder, found.files.flat));
  const compared = flatAgainstTruth({
    widthPx: master.widthPx,
    heightPx: master.heightPx,
    master: master.data,
    sigma: master.sigma!,
    mask: master.mask!,
    truth: stage.simulator.painter.truth().flat,
  })!;
  const { budget } = found.proof;
  return {
    fault,
    verdict: found.verdict,
    overSigma: compared.rmsError / compared.rmsExpected,
    blockError: compared.rmsErrorBlocks,
    blockBudget: largestError(budget.sum.filter(({ sidePx }) => sidePx === 32)) ?? 0,
    reasons: found.proof.figures.filter(({ verdict }) => verdict !== "good").map(({ name }) => name),
    notLookedAt: budget.parts.filter(({ state }) => state === "not looked at").map(({ name }) => name),
  };
}

function percent(fraction: number): string {
  return `${(100 * fraction).toFixed(3).padStart(6)} %`;
}
