import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { registerCheck } from "../../../agent/commands/check.ts";
import { Ledger } from "../../../agent/run/ledger/ledger.ts";
import { saveRetreats } from "../../../agent/run/ledger/retreats.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { evenfield } from "./command-host.ts";

const root = join(import.meta.dirname, "../../..");
const folder = mkdtempSync(join(tmpdir(), "evenfield-check-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const demo = readFileSync(join(root, "plans/demo-rig.yaml"), "utf8");
const ledger = join(folder, "ledger.sqlite");

/** On a forenoon of July at the demo's site. */
function check(plan: string, rigText: string, ...more: string[]) {
  const rig = join(folder, "rig.yaml");
  writeFileSync(rig, rigText);
  const places = ["--runs", join(folder, "runs"), "--ledger", ledger];
  return evenfield(registerCheck, ["check", join(root, "plans", plan), "--rig", rig, ...places, ...more]);
}

test("a plan that fits: exit code 0, each check told, and no file made", async () => {
  const host = await check("first-flat.yaml", demo, "--json");
  expect(host.exitCode).toBe(0);
  expect(host.json).toMatchObject({ plan: "first-flat", ready: true });
  const verdicts = Object.fromEntries(
    host.json.checks.map((one: { check: string; verdict: string }) => [one.check, one.verdict]),
  );
  expect(verdicts).toEqual({
    devices: "passed",
    "by hand": "passed",
    "Sun filter": "passed",
    "earlier light": "passed",
    Sun: "passed",
    disk: "passed",
    disc: "not made",
    "earlier runs": "passed",
  });
  expect(readdirSync(folder)).toEqual(["rig.yaml"]);
});

test("at night: exit code 4, with the hours in which the Sun stands high enough", async () => {
  const { exitCode, out } = await check("first-flat.yaml", demo, "--at", "2026-07-14T19:00Z");
  expect(exitCode).toBe(4);
  expect(out).toContain("a run would be refused");
  expect(out).toMatch(
    /NO +Sun: the Sun is -?\d+\.\d° high .*\n +Start when .* stands above 20° from 2026-07-14T0\d:\d\dZ to 2026-07-14T1\d:\d\dZ/,
  );
});

test("a cover by hand asks for somebody: told, and unattended exit code 2", async () => {
  const byHand = demo.replace(/cover: \{[^}]*\}/, "cover: { by: hand }");
  const there = await check("first-flat.yaml", byHand);
  expect(there.exitCode).toBe(0);
  expect(there.out).toContain("moved by hand: cover; somebody at the terminal is asked");
  const nobody = await check("first-flat.yaml", byHand, "--unattended");
  expect(nobody.exitCode).toBe(2);
  expect(nobody.out).toContain("NO         by hand: the cover is moved by hand, and nobody is there");
});

test("an old filter statement and a missing device are both told; wrong input decides the code", async () => {
  const rig = demo
    .replace(/lastConfirmed: .*/, "lastConfirmed: 2025-01-01")
    .replace(/ {2}diffuser: .*\n/, "");
  const { exitCode, out } = await check("first-flat.yaml", rig);
  expect(exitCode).toBe(2);
  expect(out).toContain("NO         devices: step 2 (leak-check) needs a diffuser");
  expect(out).toMatch(/NO +Sun filter: the Sun filter was last confirmed on 2025-01-01, \d+ days ago/);
});

test("a disc against the frame, where the rig file tells of the sensor", async () => {
  const withSensor = (widthPx: number, heightPx: number) =>
    demo.replace(
      /(camera: \{[^}]*) \}/,
      `$1, sensor: { widthPx: ${widthPx}, heightPx: ${heightPx}, pixelMicron: 3 } }`,
    );
  const fits = await check("flat-by-defocus.yaml", withSensor(64, 48));
  expect(fits.out).toMatch(/yes +disc: the Sun measures \d+ px in a frame of 64 x 48 px/);
  const large = await check("flat-by-defocus.yaml", withSensor(9000, 6000));
  expect(large.exitCode).toBe(0);
  expect(large.out).toMatch(
    /perhaps +disc: step 2 \(flat by defocus\): .* it must be at least \d+ px\n +Use a focal/,
  );
});

test("far too much light in an earlier run, and a broken file", async () => {
  const trip = {
    rig: /^rig: (\S+)/m.exec(demo)![1]!,
    runId: "1",
    utcMs: Date.UTC(2026, 6, 14, 8),
    kind: "brightness",
    reason: "99 % of the lit pixels clip",
    lastConfirmed: "2026-05-01",
  } as const;
  using records = new Ledger(ledger);
  saveRetreats(records, [trip], silentLog);
  const { exitCode, out } = await check("first-flat.yaml", demo);
  expect(exitCode).toBe(4);
  expect(out).toContain("NO         earlier light: a run retreated at 2026-07-14T08:00Z");
  const broken = await check("first-flat.yaml", `${demo}\nextra: 1\n`, "--json");
  expect(broken.envelope).toMatchObject({ command: "check", ended: "failed", exitCode: 2 });
});
