import { expect, test } from "vitest";
import { readBaseline } from "../../../../agent/run/ledger/baseline.ts";
import { type RestoreRunRequest, restoreRun } from "../../../../agent/run/restoring/recover.ts";
import { sunFromSite } from "../../../../agent/sky/sun-from-site.ts";
import { silentLog } from "../../../../drivers/kit/log.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import { readRigFile } from "../../../../plans/rig-file.ts";
import { FakeRig } from "../fake-rig.ts";
import { forenoonUtcMs, testRigText } from "../fake-run.ts";

const rigFile = readRigFile(testRigText, "rig.yaml");

test("what a run knew against its cover keeps the mount off the Sun for whoever restores after it", async () => {
  const clock = new VirtualClock(forenoonUtcMs);
  const rig = new FakeRig(clock);
  const sun = sunFromSite(forenoonUtcMs, rigFile.site);
  const mount = rig.truth.get("mount")!;
  mount.set("parked", false).set("tracking", true).set("pointing", [sun.raHours, sun.decDegrees]);
  const baseline = await clock.drive(readBaseline(rig.open(), new AbortController().signal));
  const away = [sun.raHours, sun.decDegrees + 30];
  mount.set("tracking", false).set("pointing", away);
  const { rig: name, sunFilter } = rigFile;
  const { lastConfirmed } = sunFilter;
  const reason = "it did not open when it was told to";
  const retreat = {
    rig: name,
    runId: "earlier",
    utcMs: forenoonUtcMs,
    kind: "cover",
    reason,
    lastConfirmed,
  } as const;
  const request: RestoreRunRequest = {
    rig: rig.open(),
    rigFile,
    records: { ledger: undefined, ledgerFile: ":memory:", runsFolders: [] },
    clock,
    log: silentLog,
  };
  const run = { runId: "earlier", folder: "none", baseline, retreats: [retreat] };
  const { safety, settings } = await clock.drive(restoreRun(request, run as never));
  expect(safety).toMatchObject({ covered: { proved: false, why: reason }, offSun: true });
  expect(rig.get("mount", "pointing")).toEqual(away);
  expect(settings.filter(({ state }) => state === "keptSafe").map(({ key }) => key)).toContain("pointing");
});
