import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { drill } from "../../../agent/commands/drill.ts";
import { type DrillRecord, listLastDrills, saveDrill } from "../../../agent/run/ledger/drills.ts";
import { Ledger } from "../../../agent/run/ledger/ledger.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { TestHost } from "./command-host.ts";

const folder = mkdtempSync(join(tmpdir(), "evenfield-drill-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const plans = join(import.meta.dirname, "../../../plans");

async function call(rigText: string, answers: ("yes" | "no")[] = []) {
  const rig = join(folder, "rig.yaml");
  await Bun.write(rig, rigText);
  const host = new TestHost();
  const asked: string[] = [];
  const options = {
    rig,
    ledger: join(folder, "l.sqlite"),
    runs: join(folder, "runs"),
    present: "S. Example",
  };
  const wiring = {
    openers: () => () => Promise.reject(new Error("no rig is there")),
    log: silentLog,
    random: new Random(1),
    signal: new AbortController().signal,
    lockFolder: join(folder, "locks"),
    askPerson: async (question: string) => {
      asked.push(question);
      return answers.shift() ?? "no";
    },
  };
  const refused: Error = await drill(options, wiring, host).then(
    () => new Error("it began"),
    (error: Error) => error,
  );
  return { refused, asked, said: host.err };
}

const rigText = readFileSync(join(plans, "demo-rig.yaml"), "utf8");

test("nothing is begun before a person at the telescope has said yes, and is told of the danger first", async () => {
  const { refused, asked, said } = await call(rigText);
  expect(refused.message).toMatch(/^Not begun: the answer was no\. Nothing on the rig was touched\./);
  expect(asked).toEqual([
    expect.stringMatching(/^Is S\. Example at the telescope, its Sun filter inspected/),
  ]);
  expect(said).toContain("Never look through the telescope");
});

test("somebody who is there and has left a finder open is not begun with either", async () => {
  const { refused, asked } = await call(rigText, ["yes", "no"]);
  expect(asked.at(-1)).toContain("Is every finder capped");
  expect(refused.message).toContain("the instrument is not ready for the Sun");
  expect(refused.message).toContain("nothing was moved");
});

test("a cover that a person moves, and a filter statement that has run out, are refused without a question", async () => {
  const byHand = await call(rigText.replace("{ server: scene, device: Scene Cover }", "{ by: hand }"));
  expect(byHand.refused.message).toMatch(/no cover that closes by itself/);
  const old = await call(rigText.replace("confirmAgainAfterDays: 400", "confirmAgainAfterDays: 3"));
  expect(old.refused.message).toMatch(/^Refused: the Sun filter was last confirmed/);
  expect([...byHand.asked, ...old.asked]).toEqual([]);
});

test("the ledger keeps the newest of each part, and drops what was changed behind its back", () => {
  using ledger = new Ledger(":memory:");
  const part = (utcMs: number, more: Partial<DrillRecord> = {}): DrillRecord => {
    return { utcMs, part: "link cut", passed: true, text: "covered", present: "S. Example", ...more };
  };
  expect(listLastDrills(ledger, "garden")).toEqual([]);
  saveDrill(ledger, "garden", part(1, { passed: false }));
  saveDrill(ledger, "garden", part(2));
  saveDrill(ledger, "garden", part(3, { part: "agent killed", passed: false }));
  saveDrill(ledger, "roof", part(4, { passed: false }));
  expect(listLastDrills(ledger, "garden")).toEqual([
    part(2),
    part(3, { part: "agent killed", passed: false }),
  ]);
  ledger.database.run("update drills set passed = 1");
  expect(listLastDrills(ledger, "garden")).toEqual([part(2)]);
});
