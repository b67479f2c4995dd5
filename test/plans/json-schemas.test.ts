import { existsSync, readdirSync, readFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { Ajv2020 } from "ajv/dist/2020.js";
import { expect, test } from "vitest";
import { parse } from "yaml";
import { writtenFromSchemas } from "../../agent/commands/write-schema.ts";
import {
  type JsonSchema,
  noticesSchema,
  planSchema,
  rigSchema,
  scheduleSchema,
} from "../../plans/json-schemas.ts";
import { readPlan } from "../../plans/plan-file.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { readSchedule } from "../../plans/schedule-file.ts";
import { sceneFileSchema } from "../../sim-devices/scene/spec/scene-file-schema.ts";
import { goodPlan, goodRig } from "./broken-files.ts";

const plans = join(import.meta.dirname, "../../plans");
const accepts = (schema: object) => new Ajv2020({ strict: false, validateFormats: false }).compile(schema);
const [isPlan, isRig, isScene] = [accepts(planSchema()), accepts(rigSchema()), accepts(sceneFileSchema())];
const isSchedule = accepts(scheduleSchema());

test("schemas and references are those that the program's own schemas make (bun agent/commands/write-schema.ts)", () => {
  for (const [path, text] of Object.entries(writtenFromSchemas()))
    expect(readFileSync(join(plans, path), "utf8"), path).toBe(text);
});

const shipped = [".", "scenes", "serve"].flatMap((folder) =>
  readdirSync(join(plans, folder))
    .filter((name) => name.endsWith(".yaml"))
    .map((name) => join(folder, name)),
);

test.each(shipped)("%s names the schema of its kind in the first line, and is of it", (name) => {
  const text = readFileSync(join(plans, name), "utf8");
  const schemaFile = /^# yaml-language-server: \$schema=(\S+)\n/.exec(text)?.[1] ?? "none";
  const path = join(plans, dirname(name), schemaFile);
  expect(existsSync(path), schemaFile).toBe(true);
  const isOfIt = accepts(JSON.parse(readFileSync(path, "utf8")));
  expect(isOfIt(parse(text)), JSON.stringify(isOfIt.errors)).toBe(true);
  const byFolder: Record<string, string> = {
    scenes: "scene",
    serve: /notices/.test(name) ? "notices" : "schedule",
  };
  const kind = byFolder[dirname(name)] ?? (/rig/.test(name) ? "rig" : "plan");
  expect(schemaFile).toContain(`/${kind}.json`);
});

/** The reader's word beside the schema's. */
function bothRead(text: string, read: (text: string, file: string) => unknown): boolean {
  try {
    read(text, "file.yaml");
    return true;
  } catch {
    return false;
  }
}

test.each([
  [goodPlan, true],
  [goodPlan.replace("- centre:", "- centre: {}\n  - centre:"), true],
  [goodPlan.replace("  - leak-check\n", "  - leak-check:\n"), true],
  [goodPlan.replace("frames: 40", "frames: 3"), false],
  [goodPlan.replace("frames: 40", "frames: enough"), true],
  [goodPlan.replace("- leak-check", "- leakcheck"), false],
  [goodPlan.replace("blur: diffuser", "blur: fog"), false],
  [goodPlan.replace("minutes: 5", "hours: 5"), false],
])("a plan as its reader has it (%#)", (text, fits) => {
  expect(bothRead(text, readPlan)).toBe(fits);
  expect(isPlan(parse(text)), JSON.stringify(isPlan.errors)).toBe(fits);
});

test.each([
  [goodRig, true],
  [goodRig.replace("{ by: hand }", "{ by: foot }"), false],
  [goodRig.replace("{ by: hand }", "{ server: home, device: Sheet, travelSecondsMax: 20 }"), true],
  [goodRig.replace("{ by: hand }", "{ server: home }"), false],
  [goodRig.replace("indi: {", "alpaca: {"), true],
  [goodRig.replace("indi: {", "telnet: {"), false],
  [goodRig.replace("madeForThisInstrument: true", "madeForThisInstrument: false"), false],
  [goodRig.replace("latitudeDegrees: 52.1", "latitudeDegrees: 152.1"), false],
  [goodRig.replace("camera:", "camra:"), false],
])("a rig file as its reader has it (%#)", (text, fits) => {
  expect(bothRead(text, readRigFile)).toBe(fits);
  expect(isRig(parse(text)), JSON.stringify(isRig.errors)).toBe(fits);
});

const goodSchedule = readFileSync(join(plans, "serve/each-clear-day.yaml"), "utf8");

test.each([
  [goodSchedule, true],
  [goodSchedule.replace("{ sunRisesPastDegrees: 25 }", '{ localTime: "09:15" }'), true],
  [goodSchedule.replace("{ sunRisesPastDegrees: 25 }", '{ localTime: "9:15" }'), false],
  [goodSchedule.replace("{ sunRisesPastDegrees: 25 }", "{ whenClear: true }"), false],
  [goodSchedule.replace("onDays: [sunday]", "onDays: every-day"), true],
  [goodSchedule.replace("onDays: [sunday]", "onDays: sunday"), false],
  [goodSchedule.replace("onDays: [sunday]", "onDays: { everyDays: 2, countedFrom: 2026-05-01 }"), true],
  [goodSchedule.replace("train-changed", "train-new"), false],
  [goodSchedule.replace("timesMost: 2", "timesMost: 0"), false],
])("a schedule as its reader has it (%#)", (text, fits) => {
  expect(bothRead(text, readSchedule)).toBe(fits);
  expect(isSchedule(parse(text)), JSON.stringify(isSchedule.errors)).toBe(fits);
});

test("a scene may leave out any part, and has no key that the simulator does not know", () => {
  expect(isScene({})).toBe(true);
  expect(isScene({ startFrom: { drawnFromSeed: 3 }, optics: { focalLengthMm: 900 } })).toBe(true);
  expect(isScene({ optics: { focalLength: 900 } })).toBe(false);
  expect(isScene({ rig: { dust: [{ xPx: 1 }] } })).toBe(false);
});

test("every key says what it is", () => {
  const silent = (schema: JsonSchema, path: string): string[] => {
    const { properties = {}, items, anyOf = [], additionalProperties } = schema;
    const own = Object.entries(properties).flatMap(([key, part]) => {
      const at = `${path}.${key}`;
      const told = part.description ?? part.anyOf?.some(({ description }) => description);
      return [...(told ? [] : [at]), ...silent(part, at)];
    });
    const deeper = typeof additionalProperties === "object" ? [additionalProperties] : [];
    return [...own, ...[...anyOf, ...(items ? [items] : []), ...deeper].flatMap((one) => silent(one, path))];
  };
  expect([
    ...silent(planSchema(), "plan"),
    ...silent(rigSchema(), "rig"),
    ...silent(scheduleSchema(), "schedule"),
    ...silent(noticesSchema(), "notices"),
  ]).toEqual([]);
});
