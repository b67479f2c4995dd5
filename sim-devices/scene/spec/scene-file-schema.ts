import * as z from "zod";
import { startFrom } from "./read-scene.ts";
import { sceneSpecSchema } from "./scene-spec.ts";

type Schema = Record<string, unknown>;

/** JSON Schema of a scene file: any part may be left out, for what it starts from has it. */
export function sceneFileSchema(): Schema {
  const { $schema, ...scene } = z.toJSONSchema(sceneSpecSchema, { io: "input" }) as Schema;
  const { properties, ...rest } = everyKeyOptional(scene) as { properties: Schema };
  const { $schema: _, ...from } = z.toJSONSchema(startFrom) as Schema;
  return {
    $schema,
    title: "A scene of Evenfield's simulated rig",
    ...rest,
    properties: { startFrom: from, ...properties },
  };
}

/** Parts are merged into what is there; the entries of a list are not. */
function everyKeyOptional(schema: Schema): Schema {
  const { required: _, properties, ...rest } = schema;
  if (properties === undefined) return rest;
  const parts = Object.entries(properties as Record<string, Schema>);
  return {
    ...rest,
    properties: Object.fromEntries(parts.map(([key, part]) => [key, everyKeyOptional(part)])),
  };
}
