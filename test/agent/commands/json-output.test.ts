import { readFileSync } from "node:fs";
import { join } from "node:path";
import Ajv from "ajv/dist/2020.js";
import { expect, test } from "vitest";
import { commandList } from "../../../agent/commands/command-list.ts";
import { envelopeSchema } from "../../../agent/commands/envelope.ts";
import { registerInspect } from "../../../agent/commands/inspect.ts";
import { jsonOutputSchema } from "../../../agent/commands/result-schemas.ts";
import { registerSun } from "../../../agent/commands/sun.ts";
import { exitCodes } from "../../../agent/run/record/exit-codes.ts";
import { evenfield } from "./command-host.ts";

const root = join(import.meta.dirname, "../../..");

test("the schema for scripts is the one in the house (bun agent/commands/write-schema.ts writes it)", () => {
  const kept = JSON.parse(readFileSync(join(root, "plans/schemas/json-output.json"), "utf8"));
  expect(kept).toEqual(JSON.parse(JSON.stringify(jsonOutputSchema())));
  expect(Object.keys(kept.$defs)).toEqual(Object.keys(commandList));
});

test("a result and a failure are of the schema, by another program's reading too", async () => {
  const valid = new Ajv({ strict: false }).compile(jsonOutputSchema());
  const sun = await evenfield(registerSun, ["sun", "--site", "46.5,9.8", "--json"]);
  expect(sun.envelope).toMatchObject({ command: "sun", ended: "done", code: "DONE", happened: null });
  expect(valid(sun.envelope), JSON.stringify(valid.errors)).toBe(true);
  const wrong = await evenfield(registerSun, ["sun", "--site", "far away", "--json"]);
  expect(wrong.envelope).toMatchObject({ ended: "failed", code: "WRONG_INPUT", exitCode: 2, result: null });
  expect(valid(wrong.envelope), JSON.stringify(valid.errors)).toBe(true);
  const none = await evenfield(registerInspect, ["inspect", "not-there.fits", "--json"]);
  expect(none.envelope).toMatchObject({ ended: "done", code: "WRONG_INPUT", result: { files: [] } });
});

test("what can't be understood on the command line is one envelope too", async () => {
  const call = (...args: string[]) => {
    const run = Bun.spawnSync([process.execPath, join(root, "agent/main.ts"), ...args]);
    return { exitCode: run.exitCode, envelope: envelopeSchema.parse(JSON.parse(run.stdout.toString())) };
  };
  const option = call("sun", "--site", "1,2", "--sight", "1,2", "--json");
  expect(option).toMatchObject({ exitCode: 2, envelope: { command: "sun", ended: "failed", exitCode: 2 } });
  expect(option.envelope.happened).toContain("--sight");
  const unknown = call("moon", "--json");
  expect(unknown.envelope).toMatchObject({ command: "", code: "WRONG_INPUT" });
  expect(unknown.envelope.happened).toContain("moon");
});

test("every exit code has a name of its own", () => {
  const names = envelopeSchema.shape.code.options;
  expect(new Set(names).size).toBe(Object.keys(exitCodes).length);
});
