import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fitPlane } from "../../agent/imaging/numerics/plane-fit.ts";
import { flatAgainstTruth } from "../../agent/imaging/proof/flat-against-truth.ts";
import type { FlatFound } from "../../agent/procedures/flat/flat-request.ts";
import { Ledger } from "../../agent/run/ledger/ledger.ts";
import { runPlan } from "../../agent/run/machine/run-plan.ts";
import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { readPlan } from "../../plans/plan-file.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { demoScene } from "../../sim-devices/scene/spec/demo-scene.ts";
import { drawScene } from "../../sim-devices/scene/spec/draw-scene.ts";
import { overrideScene } from "../../sim-devices/scene/spec/override-scene.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { accountDifferences } from "../../sim-devices/scene/world-account.ts";
import { startSimulator } from "../../sim-devices/start-simulator.ts";
import { presentKeeper } from "../agent/run/present-keeper.ts";
import { rigTextFor } from "../stage/rig-text.ts";
import { printTable } from "./print-table.ts";

export interface DefocusRow {
  readonly seed: number;
  readonly kind: "close-up" | "whole disc";
  /** Radius of the disc over half the frame's diagonal. */
  readonly discOverCorner: number;
  readonly playSteps: number;
  readonly side: "up" | "down" | "-";
  readonly verdict: string;
  /** Error of the master over what its own sigmas say. */
  readonly overSigma: number;
  readonly blockError: number;
  readonly gradientError: number;
  /** Worst leftover structure over the noise of the master. */
  readonly leftover: number;
  /** Of the focuser's load from where it was, over the depth of focus. */
  readonly focusOverDepth: number;
  readonly litFraction: number;
  readonly differences: number;
  readonly why: string;
}

/** Whole runs in drawn scenes: close-ups and whole discs, spots and bright regions, play, either side of travel, mounts that miss. */
export async function run(options: {
  readonly seed: number;
  readonly scenes: number;
  readonly print: (line: string) => void;
}): Promise<readonly DefocusRow[]> {
  const { print } = options;
  const rows: DefocusRow[] = [];
  for (let k = 0; k < options.scenes; k++) {
    rows.push(await once(options.seed + k));
    print(rowText(rows.at(-1)!));
  }
  const made = rows.filter((row) => row.verdict === "good" || row.verdict === "usable");
  const worst = (of: (row: DefocusRow) => number) => Math.max(...made.map(of));
  const percent = (value: number) => `${(100 * value).toFixed(3)} %`;
  const focusOff = Math.max(...rows.map((row) => row.focusOverDepth));
  printTable(
    print,
    `Flats by defocus: ${rows.length} scenes from seed ${options.seed}, worst of each figure`,
    [
      ["flats made", `${made.length} of ${rows.length}`, ""],
      ["error over its own sigma", worst((row) => row.overSigma).toFixed(2), "1.3"],
      ["error of 32 px blocks", percent(worst((row) => row.blockError)), ""],
      ["gradient error, peak to peak", percent(worst((row) => row.gradientError)), "0.3 %"],
      ["leftover over the master's noise", worst((row) => row.leftover).toFixed(2), "1"],
      ["focus off, of the depth of focus", focusOff.toFixed(2), "1"],
      ["rigs not as found", rows.filter((row) => row.differences > 0).length, "0"],
    ],
  );
  return rows;
}

function sceneOf(seed: number): { spec: SceneSpec; kind: DefocusRow["kind"] } {
  const random = new Random(seed).fork("defocus campaign");
  const kind = random.uniform() < 0.7 ? "close-up" : "whole disc";
  const drawn = drawScene(seed);
  const focalRatio = random.between(6, 8);
  const focalLengthMm = kind === "close-up" ? random.between(900, 1400) : random.between(190, 300);
  const home = random.uniform() < 0.5 ? random.whole(2500, 5000) : random.whole(15_000, 17_500);
  const [widthPx, heightPx] = [320, 240];
  const obstructionRatio = random.pick([0, 0, 0.3]);
  const dust = Array.from({ length: 6 }, () => {
    const distanceMm = random.between(0.8, 2.5);
    const depth = random.between(0.015, 0.1);
    return {
      xPx: random.between(20, widthPx - 20),
      yPx: random.between(20, heightPx - 20),
      distanceMm,
      speckMicron: (1000 * distanceMm * Math.sqrt(depth)) / focalRatio,
      on: "camera" as const,
    };
  });
  const spec = overrideScene(demoScene, {
    seed,
    optics: { focalLengthMm, apertureMm: focalLengthMm / focalRatio, obstructionRatio },
    camera: {
      widthPx,
      heightPx,
      pixelMicron: kind === "close-up" ? 7 : 4.8,
      angleDegrees: drawn.camera.angleDegrees,
      parity: drawn.camera.parity,
      bits: 14,
      fullWellElectrons: 50_000,
      electronsPerCodeAtGain0: 3,
    },
    sun: { spots: drawn.sun.spots, plages: drawn.sun.plages, filaments: drawn.sun.filaments },
    sky: { seeingArcsec: drawn.sky.seeingArcsec, cloud: drawn.sky.cloud },
    rig: {
      vignetting: {
        atCorner: random.between(0.05, 0.3),
        offsetXPx: random.between(-20, 20),
        offsetYPx: random.between(-15, 15),
      },
      gradient: drawn.rig.gradient,
      unevenTransmission: drawn.rig.unevenTransmission,
      hotSpot: { xPx: 190, yPx: 107, sigmaPx: 28, peak: random.between(0, 0.04) },
      dust,
    },
    mount: {
      pointingErrorDegrees: { east: random.between(-0.3, 0.3), north: random.between(-0.3, 0.3) },
      backlashArcsec: drawn.mount.backlashArcsec,
      driftArcsecPerSecond: drawn.mount.driftArcsecPerSecond,
    },
    focuser: {
      bestSteps: home,
      micronPerStep: random.between(1.2, 2.5),
      backlashSteps: random.whole(0, 40),
    },
    startsWith: { focusSteps: home, region: { xPx: 0, yPx: 0, widthPx, heightPx } },
  });
  return { spec, kind };
}

async function once(seed: number): Promise<DefocusRow> {
  const { spec, kind } = sceneOf(seed);
  const folder = mkdtempSync(join(tmpdir(), "evenfield-defocus-"));
  const clock = new VirtualClock(Date.parse(spec.startUtc));
  const simulator = await startSimulator({ spec, clock });
  try {
    using ledger = new Ledger(":memory:");
    const before = simulator.world.account();
    const load = simulator.world.focuser.load;
    const report = await clock.drive(
      runPlan({
        plan: readPlan(planText, "plan.yaml"),
        rigFile: readRigFile(rigTextFor(spec), "rig.yaml"),
        openers: () => simulator.openIndi,
        exchanges: simulator.openAlpaca,
        clock,
        random: new Random(seed),
        log: silentLog,
        folder: join(folder, "run"),
        ledger,
        signal: new AbortController().signal,
        unattended: true,
        warn: () => {},
        progress: () => {},
        keepers: [presentKeeper],
        writeOutputs: async () => [],
      }),
    );
    const found = report.record.steps.find((step) => step.kind === "flat")?.found as FlatFound | undefined;
    const { optics, focuser, camera } = spec;
    const depthSteps =
      (2 * (optics.wavelengthNm / 1000) * (optics.focalLengthMm / optics.apertureMm) ** 2) /
      focuser.micronPerStep;
    const radiusPx = (945 * optics.focalLengthMm * 1000) / 206_265 / camera.pixelMicron;
    return {
      seed,
      kind,
      discOverCorner: radiusPx / (Math.hypot(camera.widthPx, camera.heightPx) / 2),
      playSteps: focuser.backlashSteps,
      side: found?.defocus ? (found.defocus.flatSteps > focuser.bestSteps ? "up" : "down") : "-",
      verdict: found?.verdict ?? report.ended,
      ...errorsOf(found, join(folder, "run"), simulator.painter.truth().flat),
      focusOverDepth: Math.abs(simulator.world.focuser.load - load) / depthSteps,
      litFraction: found?.defocus?.litFraction ?? 0,
      differences: accountDifferences(before, simulator.world.account()).length,
      why: [
        ...(found?.reasons ?? []).map((reason) => reason.split(":")[0]!),
        report.failure?.message ?? "",
      ].join(" "),
    };
  } finally {
    await simulator.close();
    rmSync(folder, { recursive: true, force: true });
  }
}

function errorsOf(found: FlatFound | undefined, folder: string, truth: Float32Array) {
  if (!found) return { overSigma: 0, blockError: 0, gradientError: 0, leftover: 0 };
  const { widthPx, heightPx, data, sigma, mask } = readCcdImage(join(folder, found.files.flat));
  const compared = flatAgainstTruth({ widthPx, heightPx, master: data, sigma: sigma!, mask: mask!, truth })!;
  const points = Array.from(data, (value, i) => ({
    x: (i % widthPx) / widthPx - 0.5,
    y: Math.floor(i / widthPx) / heightPx - 0.5,
    value: value / truth[i]! - 1,
  })).filter((_, i) => mask![i] === 0);
  const plane = fitPlane(points, 1)!;
  return {
    overSigma: compared.rmsError / compared.rmsExpected,
    blockError: compared.rmsErrorBlocks,
    gradientError: Math.hypot(plane.slopeX, plane.slopeY),
    leftover: found.proof.figures.find(({ id }) => id === "blurLeftover")!.value,
  };
}

const planText = `plan: defocus
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - flat: { blur: defocus, frames: 30, darkFrames: 8 }
`;

function rowText(row: DefocusRow): string {
  return [
    String(row.seed).padStart(6),
    row.kind.padEnd(10),
    `disc ${row.discOverCorner.toFixed(2)} of the corner`,
    `play ${String(row.playSteps).padStart(2)}`,
    row.side.padEnd(4),
    row.verdict.padEnd(9),
    `error ${row.overSigma.toFixed(2)} sigma`,
    `blocks ${(100 * row.blockError).toFixed(3)} %`,
    `plane ${(100 * row.gradientError).toFixed(3)} %`,
    `leftover ${row.leftover.toFixed(2)}`,
    `focus ${row.focusOverDepth.toFixed(2)}`,
    `lit ${(100 * row.litFraction).toFixed(0)} %`,
    row.differences > 0 ? `${row.differences} differ` : "",
    row.why,
  ].join("  ");
}
