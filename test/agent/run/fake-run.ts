import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { Ledger } from "../../../agent/run/ledger/ledger.ts";
import { carryOut } from "../../../agent/run/machine/carry-out.ts";
import type { RunOptions } from "../../../agent/run/machine/run-options.ts";
import type { RunReport } from "../../../agent/run/record/run-record.ts";
import { uncover } from "../../../agent/safing/uncover.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import { readPlan } from "../../../plans/plan-file.ts";
import type { StepKind } from "../../../plans/plan-steps.ts";
import { readRigFile } from "../../../plans/rig-file.ts";
import { goodRig } from "../../plans/broken-files.ts";
import { FakeRig } from "./fake-rig.ts";
import { type FakeWork, fakeTable } from "./fake-steps.ts";
import { presentKeeper } from "./present-keeper.ts";

/** A summer forenoon at the site of the rig file: the Sun is 50 degrees high. */
export const forenoonUtcMs = Date.UTC(2026, 5, 20, 10, 0, 0);

export const testPlanText = `plan: morning
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check
  - flat: { blur: diffuser, frames: 10 }
  - images: { frames: 8, onFailure: continue }
`;

export const testRigText = goodRig.replace(
  "diffuser: { by: hand }",
  "diffuser: { server: home, device: Sheet A }",
);

/** A run against a fake rig with fake steps, on a virtual clock, in a folder of its own. */
export class FakeRun implements Disposable {
  readonly clock = new VirtualClock(forenoonUtcMs);
  readonly rig = new FakeRig(this.clock);
  readonly folder = mkdtempSync(join(tmpdir(), "evenfield-run-"));
  readonly ledger = new Ledger(join(this.folder, "ledger.sqlite"));
  readonly stop = new AbortController();
  freeDiskMegabytes = 10_000;
  planText = testPlanText;
  rigText = testRigText;

  [Symbol.dispose](): void {
    this.ledger[Symbol.dispose]();
    rmSync(this.folder, { recursive: true, force: true });
  }

  options(works: Partial<Record<StepKind, FakeWork>>, more: Partial<RunOptions> = {}): RunOptions {
    return {
      plan: readPlan(this.planText, "plan.yaml"),
      rigFile: readRigFile(this.rigText, "rig.yaml"),
      connect: (_signal, found) => this.rig.connect(found),
      table: fakeTable(works),
      clock: this.clock,
      random: new Random(1),
      log: silentLog,
      folder: join(this.folder, "run"),
      ledger: this.ledger,
      signal: this.stop.signal,
      unattended: true,
      progress: () => {},
      warn: () => {},
      keepers: [presentKeeper],
      writeOutputs: async () => [],
      freeDiskMegabytes: () => this.freeDiskMegabytes,
      ...more,
    };
  }

  run(works: Partial<Record<StepKind, FakeWork>>, more: Partial<RunOptions> = {}): Promise<RunReport> {
    return this.clock.drive(carryOut(this.options(works, more)));
  }
}

/** What the run itself reads of a flat's result. */
export function flatFound(verdict: "good" | "usable" | "bad") {
  const files = { flat: "flat-master.fits", dark: "dark-master.fits", sampleFrame: "flat-sample.fits" };
  const proof = { dust: [] };
  return { verdict, files, proof, blur: "diffuser", frameCount: 10, exposureSeconds: 0.3, reasons: [] };
}

/** Steps that use the rig as the real ones do, as far as its settings are concerned. */
export const usualWorks: Partial<Record<StepKind, FakeWork>> = {
  centre: async (bench, signal) => {
    const { rig, clock, findings, site } = bench;
    const { sunFromSite } = await import("../../../agent/sky/sun-from-site.ts");
    await rig.mount!.ensureUnparked(signal);
    await rig.mount!.ensureTracking("solar", signal);
    const sun = sunFromSite(clock.nowMs(), site);
    await rig.mount!.slewTo(sun, signal);
    await uncover(bench, signal);
    findings.sunPointing = sun;
    signal.throwIfAborted();
    return { ended: "completed" };
  },
  flat: async ({ rig, clock }, signal) => {
    await rig.diffuser!.ensureClosed(signal);
    await clock.sleep(120, signal);
    return { ended: "completed", found: flatFound("good") };
  },
};
