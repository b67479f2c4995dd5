import { type SceneSpec, sceneSpecSchema } from "./scene-spec.ts";

/** Any part of a scene, to any depth; an array replaces the whole array. */
export type SceneOverrides = DeepPartial<SceneSpec>;

type DeepPartial<T> = T extends readonly unknown[]
  ? T
  : T extends object
    ? { readonly [K in keyof T]?: DeepPartial<T[K]> | undefined }
    : T;

/** A scene with parts of it replaced. @throws ZodError if the result is no valid scene */
export function overrideScene(spec: SceneSpec, overrides: SceneOverrides): SceneSpec {
  return sceneSpecSchema.parse(mergeDeep(spec, overrides));
}

/** Plain objects are merged key by key, everything else is replaced; `undefined` changes nothing. */
export function mergeDeep(base: unknown, over: unknown): unknown {
  if (over === undefined) return base;
  if (!isPlainObject(base) || !isPlainObject(over)) return over;
  const out: Record<string, unknown> = { ...base };
  for (const [key, value] of Object.entries(over)) out[key] = mergeDeep(base[key], value);
  return out;
}

function isPlainObject(value: unknown): value is Record<string, unknown> {
  return typeof value === "object" && value !== null && !Array.isArray(value);
}
