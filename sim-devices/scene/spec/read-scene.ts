import { readFileSync } from "node:fs";
import { dirname, resolve } from "node:path";
import { LineCounter, parseDocument, visit } from "yaml";
import * as z from "zod";
import { demoScene } from "./demo-scene.ts";
import { drawScene } from "./draw-scene.ts";
import { mergeDeep, type SceneOverrides } from "./override-scene.ts";
import { type SceneSpec, sceneSpecSchema } from "./scene-spec.ts";

export const startFrom = z.union([
  z.literal("demo"),
  z.strictObject({ drawnFromSeed: z.number().int().min(0) }),
]);

/** Far more than anybody writes [characters]. */
const lengthMax = 1_000_000;

/** A scene file that can't be used; one line for each thing wrong. */
export class SceneFileError extends Error {
  override readonly name = "SceneFileError";
}

/**
 * Reads a scene from YAML: `startFrom: demo` (the default) or `startFrom: { drawnFromSeed: N }`,
 * and any part of the scene to replace. Files named in it are relative to it.
 * @throws SceneFileError naming file, line and what is allowed
 */
export function readScene(file: string): SceneSpec {
  let text: string;
  try {
    text = readFileSync(file, "utf8");
  } catch (cause) {
    throw new SceneFileError(`Scene file ${file} can't be read`, { cause });
  }
  const spec = parseScene(text, file);
  if (spec.sun.image) spec.sun.image.file = resolve(dirname(file), spec.sun.image.file);
  return spec;
}

export function parseScene(text: string, file: string): SceneSpec {
  if (text.length > lengthMax)
    throw new SceneFileError(
      `${file}: a scene file has at most ${lengthMax} characters; it has ${text.length}`,
    );
  const lines = new LineCounter();
  const document = parseDocument(text, { lineCounter: lines });
  if (document.errors.length > 0) {
    throw new SceneFileError(document.errors.map((error) => `${file}: ${error.message}`).join("\n"));
  }
  visit(document, {
    Alias(_, { source, range }) {
      const line = range ? `:${lines.linePos(range[0]).line}` : "";
      throw new SceneFileError(`${file}${line}: \`*${source}\` repeats another part; write it out instead`);
    },
  });
  const content: unknown = document.toJS() ?? {};
  if (typeof content !== "object" || Array.isArray(content)) {
    throw new SceneFileError(`${file}: a scene file is a map of settings`);
  }
  const { startFrom: from, ...overrides } = content as Record<string, unknown>;
  const lineOf = (path: readonly PropertyKey[]): string => {
    for (let depth = path.length; depth > 0; depth--) {
      const node = document.getIn(path.slice(0, depth), true) as
        | { range?: [number, number, number] }
        | undefined;
      if (node?.range) return `${file}:${lines.linePos(node.range[0]).line}`;
    }
    return file;
  };
  const complain = (issues: readonly z.core.$ZodIssue[], prefix: readonly PropertyKey[]): never => {
    const text = issues.map((issue) => {
      const path = [...prefix, ...issue.path];
      return `${lineOf(path)}: ${path.join(".") || "scene"}: ${issue.message}`;
    });
    throw new SceneFileError(text.join("\n"));
  };
  const base = startFrom.safeParse(from ?? "demo");
  if (!base.success) return complain(base.error.issues, ["startFrom"]);
  try {
    if (base.data !== "demo") return drawScene(base.data.drawnFromSeed, overrides as SceneOverrides);
    return sceneSpecSchema.parse(mergeDeep(demoScene, overrides));
  } catch (error) {
    if (error instanceof z.ZodError) return complain(error.issues, []);
    throw error;
  }
}
