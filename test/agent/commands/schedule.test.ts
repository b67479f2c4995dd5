import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { registerSchedule } from "../../../agent/commands/schedule.ts";
import { evenfield } from "./command-host.ts";

const root = join(import.meta.dirname, "../../..");
const folder = mkdtempSync(join(tmpdir(), "evenfield-schedule-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const plan = (name: string) => join(root, "plans", name);
const call = (text: string, ...more: string[]) => {
  const file = join(folder, "s.yaml");
  writeFileSync(file, `schedule: s\nentries:\n${text}`);
  const options = ["--rig", plan("demo-rig.yaml"), "--ledger", join(folder, "none.sqlite"), "--json"];
  return evenfield(registerSchedule, ["schedule", file, ...options, ...more]);
};

test("the schedule to start from: what would be done on a summer's day, and why the rest would not", async () => {
  const args = ["schedule", plan("serve/each-clear-day.yaml"), "--rig", plan("demo-rig.yaml")];
  const host = await evenfield(registerSchedule, [
    ...args,
    "--ledger",
    join(folder, "none.sqlite"),
    "--days",
    "1",
  ]);
  expect(host.exitCode).toBe(0);
  // From 12:00 by the clock at the site on 14 July to the same time on the 15th.
  expect(host.out.split("\n").slice(0, 6)).toEqual([
    "each-clear-day on demo, by the clock of Europe/Zurich; as far as neither sky nor rig says otherwise:",
    expect.stringMatching(/^ {2}2026-07-14 12:00 {2}images: done by 12:\d\d at the latest$/),
    expect.stringMatching(/^ {2}2026-07-14 14:00 {2}images: done by 14:\d\d at the latest$/),
    expect.stringMatching(/^ {2}2026-07-14 16:00 {2}images: done by 16:\d\d at the latest$/),
    expect.stringMatching(
      /^ {2}2026-07-15 08:\d\d {2}morning-flat: done by 08:\d\d at the latest, on a condition: there is no flat yet$/,
    ),
    expect.stringMatching(/^ {2}2026-07-15 10:00 {2}images: done by/),
  ]);
});

test("two entries at once: the later is told to wait, or to be left out", async () => {
  const at = (name: string, late: number) =>
    `  - { entry: ${name}, plan: ${plan("first-flat.yaml")}, when: { localTime: "14:00" }, lateMinutesMax: ${late} }\n`;
  const { entries } = (await call(at("one", 5) + at("two", 60) + at("three", 5), "--days", "1")).json;
  const [one, three, two] = ["one", "three", "two"].map((name) =>
    entries.find(({ entry }: { entry: string }) => entry === name),
  );
  expect(one).toMatchObject({ will: "begin", beginUtc: "2026-07-14T12:00:00Z" });
  expect(two).toMatchObject({ will: "begin", dueUtc: "2026-07-14T12:00:00Z", beginUtc: one.endUtc });
  expect(three).toMatchObject({
    will: "not begin",
    because: "three was left out: it may begin 5 minutes late at most, and was not begun by then",
  });
});

test("what follows another entry is told after it", async () => {
  const { entries } = (
    await call(
      `  - { entry: one, plan: ${plan("first-flat.yaml")}, when: { localTime: "14:00" } }\n` +
        `  - { entry: two, plan: ${plan("first-flat.yaml")}, when: { afterEntry: one, minutesLater: 10 } }\n`,
      "--days",
      "1",
    )
  ).json;
  const [one, two] = entries;
  expect(Date.parse(two.beginUtc) - Date.parse(one.endUtc)).toBe(600_000);
});

test("a plan that the rig can't do, and one that is not there", async () => {
  const low = await call(
    `  - { entry: low, plan: ${plan("first-flat.yaml")}, when: { sunSetsPastDegrees: 20 } }\n`,
    "--days",
    "1",
  );
  expect(low.json.entries[0]).toMatchObject({
    will: "not begin",
    because: expect.stringMatching(/below the limit of 20°, within the \d+ minutes that the plan takes$/),
  });
  const gone = await call("  - { entry: gone, plan: gone.yaml, when: { minutesFromTransit: 0 } }\n");
  expect(gone.envelope).toMatchObject({ exitCode: 2, happened: expect.stringContaining("gone.yaml") });
});

test("a rig file without a time zone, and a plan in the schedule's place", async () => {
  const rig = plan("rig-example.yaml");
  const text = await Bun.file(rig).text();
  const bare = join(folder, "rig.yaml");
  writeFileSync(bare, text.replace(/ {2}timeZone:.*\n/, ""));
  const schedule = plan("serve/each-clear-day.yaml");
  const noZone = await evenfield(registerSchedule, ["schedule", schedule, "--rig", bare, "--json"]);
  expect(noZone.envelope.whatToDo).toContain("timeZone");
  const swapped = await evenfield(registerSchedule, [
    "schedule",
    plan("first-flat.yaml"),
    "--rig",
    rig,
    "--json",
  ]);
  expect(swapped.envelope.happened).toContain("is a plan, where a schedule is wanted");
});
