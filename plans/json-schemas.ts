import * as z from "zod";
import { noticesFile } from "./notices-file.ts";
import { planFile } from "./plan-file.ts";
import { rigFile } from "./rig-file.ts";
import { scheduleFile } from "./schedule-file.ts";

/** JSON Schema of a file as a person writes it: defaults may be left out. */
export function planSchema(): JsonSchema {
  return schemaOf(planFile, "A plan of Evenfield");
}

export function rigSchema(): JsonSchema {
  return schemaOf(rigFile, "A rig file of Evenfield");
}

export function scheduleSchema(): JsonSchema {
  return schemaOf(scheduleFile, "A schedule of Evenfield");
}

export function noticesSchema(): JsonSchema {
  return schemaOf(noticesFile, "A notices file of Evenfield");
}

/** As far as the reference of keys reads it. */
export interface JsonSchema {
  readonly type?: string;
  readonly description?: string;
  readonly properties?: Readonly<Record<string, JsonSchema>>;
  readonly additionalProperties?: boolean | JsonSchema;
  readonly required?: readonly string[];
  readonly items?: JsonSchema;
  readonly anyOf?: readonly JsonSchema[];
  readonly enum?: readonly unknown[];
  readonly const?: unknown;
  readonly default?: unknown;
  readonly minimum?: number;
  readonly maximum?: number;
  readonly [other: string]: unknown;
}

function schemaOf(schema: z.ZodType, title: string): JsonSchema {
  const { $schema, ...rest } = z.toJSONSchema(schema, { io: "input" });
  return { $schema, title, ...rest } as JsonSchema;
}
