import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { check } from "../../../agent/commands/check.ts";
import type { FindCommandOptions } from "../../../agent/commands/find.ts";
import { type InitOptions, init } from "../../../agent/commands/init.ts";
import { filledIn } from "../../../agent/commands/init-rig-text.ts";
import type { CommandError } from "../../../agent/commands/outcome.ts";
import type { Prompts } from "../../../agent/commands/terminal-prompts.ts";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { readRigFile } from "../../../plans/rig-file.ts";
import { ScriptedServer } from "../../drivers/indi/scripted-server.ts";
import { TestHost } from "./command-host.ts";

class RealTimeHost extends TestHost {
  override readonly clock = systemClock as never;
}

const root = join(import.meta.dirname, "../../..");
const folder = mkdtempSync(join(tmpdir(), "evenfield-init-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const driverInfo = (device: string, bits: number) =>
  `<defTextVector device="${device}" name="DRIVER_INFO" state="Idle" perm="ro">
<defText name="DRIVER_NAME">${device}</defText><defText name="DRIVER_VERSION">1.0</defText>
<defText name="DRIVER_INTERFACE">${bits}</defText></defTextVector>`;

function rigOf(...devices: readonly (readonly [name: string, bits: number])[]): FindCommandOptions {
  const server = new ScriptedServer(systemClock);
  for (const [name, bits] of devices) server.load(driverInfo(name, bits));
  return { seconds: "0.1", indi: ["hut.local"], links: { targets: [], openers: () => server.open } };
}

const answers: InitOptions = {
  site: "46.5,-9.8,1720",
  aperture: "60",
  focalLength: "400",
  filter: 'Energy rejection: "full" aperture, #2',
};

const write = (file: string, options: InitOptions, prompts?: Prompts) =>
  init(file, options, { prompts, host: new RealTimeHost() }, neverAborted);

async function refusal(file: string, options: InitOptions): Promise<string> {
  const error = await write(file, options).then(
    () => undefined,
    (reason: CommandError) => reason,
  );
  expect(error?.exitCode).toBe(2);
  expect(existsSync(file)).toBe(false);
  return error!.message;
}

test("by options alone: the two lines on the filter are for a person, and with them the file passes its check", async () => {
  const file = join(folder, "whole.yaml");
  const rig = rigOf(["Guide Cam", 2], ["Main Cam", 2], ["Mount A", 5], ["Cap A", 512]);
  const { text } = await write(file, { ...answers, ...rig, byHand: "diffuser" });
  expect(text).toContain("fill in `sunFilter.madeForThisInstrument` and `sunFilter.lastConfirmed`");
  const written = readFileSync(file, "utf8");
  expect(() => readRigFile(written, "rig.yaml")).toThrow(
    /madeForThisInstrument` is empty[\s\S]*lastConfirmed` is empty/,
  );
  expect(written).toContain("Never look through");
  writeFileSync(file, filledIn(written, "2026-07-01"));
  expect(readRigFile(readFileSync(file, "utf8"), file)).toMatchObject({
    rig: "my-rig",
    site: { latitudeDegrees: 46.5, longitudeDegrees: -9.8, elevationMetres: 1720 },
    optics: { apertureMm: 60, focalLengthMm: 400, wavelengthNm: 656.28 },
    sunFilter: { describe: answers.filter },
    devices: { camera: { device: "Guide Cam" }, mount: { device: "Mount A" }, diffuser: { by: "hand" } },
  });
  const places = { runs: folder, ledger: join(folder, "none.sqlite") };
  const checked = check(join(root, "plans/first-flat.yaml"), { rig: file, ...places }, new TestHost());
  expect(checked.text).toContain("nothing speaks against it");
  expect(checked.exitCode).toBe(0);
});

test("at a terminal what is open is asked, and which of two cameras is meant", async () => {
  const file = join(folder, "asked.yaml");
  const asked: string[] = [];
  const prompts: Prompts = {
    text: async ({ message, usual, problem }) => {
      asked.push(message);
      const answer = usual ?? (message.startsWith("Aperture") ? "60" : "400");
      expect(problem(answer)).toBeUndefined();
      expect(problem(message.startsWith("Where") ? "far away" : " ")).toBeDefined();
      return answer;
    },
    one: async (message, choices) => {
      asked.push(message);
      return choices.find(({ label }) => label.startsWith("Main"))!.value;
    },
    many: async (message, choices) => {
      asked.push(message);
      return choices.map(({ value }) => value);
    },
  };
  const { site, filter } = answers;
  await write(
    file,
    { site, filter, ...rigOf(["Guide Cam", 2], ["Main Cam", 2], ["Mount A", 5]) } as InitOptions,
    prompts,
  );
  expect(asked.map((text) => text.split(/[ ,]/).slice(0, 3).join(" "))).toEqual([
    "What is the",
    "Aperture in millimetres",
    "Focal length in",
    "Wavelength of the",
    "Which is the",
    "Which of these",
  ]);
  const { devices } = readRigFile(filledIn(readFileSync(file, "utf8"), "2026-07-01"), file);
  expect(devices).toMatchObject({
    camera: { device: "Main Cam" },
    cover: { by: "hand" },
    diffuser: { by: "hand" },
  });
});

test("nobody to ask, an answer that can't be, no camera, a file that is there: refused, and nothing is written", async () => {
  const file = join(folder, "none.yaml");
  const rig = rigOf(["Main Cam", 2]);
  const { site: _, ...withoutSite } = answers;
  expect(await refusal(file, { ...withoutSite, ...rig } as InitOptions)).toContain(
    "Nobody is at a terminal to answer: --site <LAT,LON[,ELEV]>.",
  );
  expect(await refusal(file, { ...answers, ...rig, aperture: "six" })).toContain(
    '"six" can\'t be used for --aperture. Nothing was written. Allowed: a number from 10 to 2000 millimetres',
  );
  expect(await refusal(file, { ...answers, ...rig, byHand: "lid" })).toContain("--by-hand");
  expect(await refusal(file, { ...answers, ...rigOf(["Mount A", 5]) })).toContain(
    "No server that was found has a camera",
  );
  writeFileSync(file, "mine");
  await expect(write(file, { ...answers, ...rig })).rejects.toThrow(/is there already/);
  expect(readFileSync(file, "utf8")).toBe("mine");
});
