import { join } from "node:path";
import { noticesSchema, planSchema, rigSchema, scheduleSchema } from "../../plans/json-schemas.ts";
import { sceneFileSchema } from "../../sim-devices/scene/spec/scene-file-schema.ts";
import { figureReference } from "./figure-reference.ts";
import { keyReference } from "./key-reference.ts";
import { jsonOutputSchema } from "./result-schemas.ts";

const json = (schema: object) => `${JSON.stringify(schema, null, 2)}\n`;

/** What is written from the program's own schemas, by its path below `plans`. */
export const writtenFromSchemas = (): Readonly<Record<string, string>> => ({
  "schemas/json-output.json": json(jsonOutputSchema()),
  "schemas/plan.json": json(planSchema()),
  "schemas/rig.json": json(rigSchema()),
  "schemas/schedule.json": json(scheduleSchema()),
  "schemas/notices.json": json(noticesSchema()),
  "schemas/scene.json": json(sceneFileSchema()),
  "keys.md": keyReference(),
  "figures.md": figureReference(),
});

/** After a change of what files may hold or of what `--json` prints. */
if (import.meta.main)
  for (const [path, text] of Object.entries(writtenFromSchemas()))
    await Bun.write(join(import.meta.dirname, "../../plans", path), text);
