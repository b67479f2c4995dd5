import { join } from "node:path";
import { trueFlatOf } from "../../agent/commands/truth-rows.ts";
import { flatAgainstTruth } from "../../agent/imaging/proof/flat-against-truth.ts";
import type { FlatFound } from "../../agent/procedures/flat/flat-request.ts";
import type { RunReport } from "../../agent/run/record/run-record.ts";
import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import type { Stage } from "../stage/stage.ts";

/** The flat that a run has taken: what its step found, its file, and how it compares with the scene's own map. */
export function flatOfRun(run: Stage, report: RunReport) {
  const found = report.record.steps.find(({ kind }) => kind === "flat")!.found as FlatFound;
  const master = readCcdImage(join(run.folder, "run", found.files.flat));
  const { widthPx, heightPx, data, sigma, mask } = master;
  const truth = trueFlatOf(master, run.simulator.painter.truth())!;
  const compared = flatAgainstTruth({
    ...{ widthPx, heightPx, truth },
    master: data,
    sigma: sigma!,
    mask: mask!,
  })!;
  return { found, master, truth, errorOverExpected: compared.rmsError / compared.rmsExpected };
}
