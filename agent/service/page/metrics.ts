import { Counter, Gauge, Registry } from "prom-client";
import type { ServiceStatus } from "../service-status.ts";
import { answerFour } from "./four-answers.ts";
import type { PageFacts } from "./page-facts.ts";

export const states: readonly ServiceStatus["state"][] = [
  "starting",
  "recovering",
  "standing by",
  "running",
  "held",
  "stopping",
];

/** The facts in the open text format; what can't be read is left out, never 0. */
export async function formatMetrics(facts: PageFacts): Promise<{
  readonly contentType: string;
  readonly text: string;
}> {
  const { rig, status, records, residentBytes } = facts;
  const registry = new Registry();
  registry.setDefaultLabels({ rig });
  const registers = [registry];
  const gauge = (name: string, help: string, value: number) =>
    new Gauge({ name, help, registers }).set(value);
  const state = new Gauge({
    name: "evenfield_state",
    help: "1 for the state that the service is in, 0 for the others.",
    labelNames: ["state"],
    registers,
  });
  for (const one of states) state.set({ state: one }, one === status.state ? 1 : 0);
  gauge(
    "evenfield_state_since_timestamp_seconds",
    "When the service came into its state.",
    status.sinceUtcMs / 1000,
  );
  gauge(
    "evenfield_telescope_covered",
    "1 while the telescope is known to be covered by what was read back; 0 when it is not, or is not known.",
    answerFour(facts).safe.verdict === "good" ? 1 : 0,
  );
  gauge(
    "evenfield_file_trouble",
    "1 while a changed schedule or rig file can't be used.",
    status.fileTrouble === undefined ? 0 : 1,
  );
  gauge("evenfield_resident_memory_bytes", "Memory that the service holds.", residentBytes);
  gauge("evenfield_records_readable", "1 while the ledger can be read.", "trouble" in records ? 0 : 1);
  if (!("trouble" in records)) {
    gauge(
      "evenfield_sun_altitude_degrees",
      "Altitude of the Sun's centre, with refraction.",
      records.sunAltitudeDegrees,
    );
    const attempts = new Counter({
      name: "evenfield_attempts_total",
      help: "Attempts at entries of the schedule by how they ended, all that the ledger keeps.",
      labelNames: ["ended"],
      registers,
    });
    for (const [ended, count] of records.endings) attempts.inc({ ended }, count);
    const { lastFlat } = records;
    if (lastFlat) {
      gauge("evenfield_last_flat_age_seconds", "Since the newest flat was made.", lastFlat.ageSeconds);
      new Gauge({
        name: "evenfield_last_flat_verdict",
        help: "1 for the verdict of the newest flat.",
        labelNames: ["verdict"],
        registers,
      }).set({ verdict: lastFlat.verdict }, 1);
    }
  }
  return { contentType: registry.contentType, text: await registry.metrics() };
}
