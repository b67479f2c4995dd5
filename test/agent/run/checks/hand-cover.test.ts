import { mkdirSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import { freeDiskMegabytes } from "../../../../agent/run/checks/free-disk.ts";
import { ManualCover } from "../../../../agent/run/checks/hand-cover.ts";
import { FakeRun, testRigText, usualWorks } from "../fake-run.ts";

const signal = new AbortController().signal;

/** A person who does as asked and keeps what was asked. */
function person(on: boolean) {
  const asked: string[] = [];
  let isOn = on;
  const ask = async (question: string) => {
    asked.push(question);
    if (question.startsWith("Put")) isOn = true;
    if (question.startsWith("Take")) isOn = false;
    return question.startsWith("Is") ? (isOn ? "yes" : "no") : "yes";
  };
  return { asked, ask: ask as (question: string) => Promise<"yes" | "no">, isOn: () => isOn };
}

test("a diffuser moved by hand: asked for once per change, with the caution, and off again at the end", async () => {
  using run = new FakeRun();
  run.rigText = testRigText.replace("{ server: home, device: Sheet A }", "{ by: hand }");
  const helper = person(false);
  const report = await run.run(usualWorks, {
    unattended: false,
    connect: async (_signal, found) => {
      const connected = await run.rig.connect(found);
      return { ...connected, rig: { ...connected.rig, diffuser: new ManualCover("diffuser", helper.ask) } };
    },
  });
  expect(report).toMatchObject({ exitCode: 0, notAsFound: [] });
  expect(helper.asked).toEqual([
    "Is the diffuser on?",
    "Put the diffuser on now. It goes in front of the Sun filter, which stays on. Is it on?",
    "Take the diffuser off now. The Sun filter stays on. Do not look through the telescope or a finder. Is it off?",
  ]);
  expect(helper.isOn()).toBe(false);
});

test("whoever takes the cap off is told to leave the Sun filter on", async () => {
  const helper = person(true);
  await new ManualCover("cover", helper.ask).ensureOpen(signal);
  expect(helper.asked).toEqual([
    expect.stringMatching(/^Take the cap .*The Sun filter stays on\..*Do not look/),
  ]);
});

test("a person who says no leaves the state unknown, and the step fails", async () => {
  const cap = new ManualCover("cover", async () => "no");
  await expect(cap.ensureClosed(signal)).rejects.toThrow("was not moved");
  expect(await cap.state()).toBe("unknown");
});

test("the free space is that of the nearest folder that is there", () => {
  const folder = mkdtempSync(join(tmpdir(), "evenfield-disk-"));
  mkdirSync(join(folder, "there"));
  const free = freeDiskMegabytes(join(folder, "there"));
  expect(free).toBeGreaterThan(0);
  expect(Math.abs(freeDiskMegabytes(join(folder, "not/yet/there")) / free - 1)).toBeLessThan(0.05);
  rmSync(folder, { recursive: true });
});
