import { expect, test } from "vitest";
import { Ledger } from "../../../../agent/run/ledger/ledger.ts";
import { gatherFacts, type PageSource, readBeforeWork } from "../../../../agent/service/page/page-facts.ts";
import type { ServiceStatus } from "../../../../agent/service/service-status.ts";
import { silentLog } from "../../../../drivers/kit/log.ts";

test("while the rig is worked with no record is read: what was known before it is shown, with the Sun of now", () => {
  using ledger = new Ledger(":memory:");
  const site = { latitudeDegrees: 47, longitudeDegrees: 8, elevationMetres: 500, timeZone: "Europe/Zurich" };
  let nowUtcMs = Date.UTC(2026, 6, 14, 10);
  let looks = 0;
  let status: ServiceStatus = { state: "standing by", sinceUtcMs: nowUtcMs, because: "evening is due" };
  const source: PageSource = {
    rig: "garden",
    timeZone: site.timeZone,
    runsFolder: "/nowhere",
    ledger,
    nowMs: () => nowUtcMs,
    status: () => status,
    look: () => {
      looks++;
      return { site, agenda: { rows: [], none: [] }, attempts: [] };
    },
  };
  const running: ServiceStatus = {
    state: "running",
    sinceUtcMs: nowUtcMs,
    because: "evening is carried out",
  };
  readBeforeWork(source, running, silentLog);
  expect(looks).toBe(1);
  const altitudes = [nowUtcMs, nowUtcMs + 3_600_000].map((utcMs) => {
    nowUtcMs = utcMs;
    status = running;
    const { records } = gatherFacts(source)!;
    return "trouble" in records ? Number.NaN : records.sunAltitudeDegrees;
  });
  readBeforeWork(source, running, silentLog);
  expect(looks).toBe(1);
  expect(altitudes[0]).toBeGreaterThan(50);
  expect(Math.abs(altitudes[1]! - altitudes[0]!)).toBeGreaterThan(2);
});
