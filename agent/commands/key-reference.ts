import {
  type JsonSchema,
  noticesSchema,
  planSchema,
  rigSchema,
  scheduleSchema,
} from "../../plans/json-schemas.ts";

/** Every key of plans, rig files and schedules as Markdown tables, drawn from the schemas that read them. */
export function keyReference(): string {
  return [
    "# Every key of plans, rig files, schedules and notices files",
    "",
    "Written by `bun agent/commands/write-schema.ts` from the schemas that read the files; change those, not this.",
    "A key may be left out where the last column has a default or a dash; `in one form`: an entry is written in one of several",
    "forms, and this key belongs to one of them.",
    "",
    "## Plan",
    ...table(planSchema()),
    "",
    "## Rig file",
    ...table(rigSchema()),
    "",
    "## Schedule",
    ...table(scheduleSchema()),
    "",
    "## Notices file",
    ...table(noticesSchema()),
    "",
  ].join("\n");
}

function table(schema: JsonSchema): readonly string[] {
  return ["", "| key | what it is | allowed | default |", "|---|---|---|---|", ...rows(schema, "")];
}

/** Of every key below a schema, by its whole path. */
function rows(schema: JsonSchema, path: string, isOneForm = false): readonly string[] {
  const { properties = {}, required = [], items, anyOf, additionalProperties } = schema;
  const forms = (anyOf ?? []).filter((one) => one.type === "object");
  const own = Object.entries(properties).flatMap(([key, part]) => {
    const at = path === "" ? key : `${path}.${key}`;
    return [
      row(at, part, required.includes(key) ? (isOneForm ? "in one form" : "must be there") : "–"),
      ...rows(part, at),
    ];
  });
  const named = typeof additionalProperties === "object" ? rows(additionalProperties, `${path}.NAME`) : [];
  const entries = items ? rows(items, path) : [];
  const seen = new Set<string>();
  return [...own, ...entries, ...named, ...forms.flatMap((one) => rows(one, path, forms.length > 1))].filter(
    (line) => {
      const isNew = !seen.has(line); // what two forms of an entry share
      seen.add(line);
      return isNew;
    },
  );
}

function row(path: string, part: JsonSchema, withoutDefault: string): string {
  const isMap = part.default !== null && typeof part.default === "object";
  const otherwise = part.default === undefined || isMap ? withoutDefault : wordOf(part.default);
  const cells = [`\`${path}\``, descriptionOf(part), allowed(part), otherwise];
  return `| ${cells.map((cell) => cell.replaceAll("|", "\\|")).join(" | ")} |`;
}

function descriptionOf({ description, anyOf }: JsonSchema): string {
  return description ?? anyOf?.map((one) => one.description ?? "").find((text) => text !== "") ?? "";
}

function allowed(part: JsonSchema): string {
  const { type, anyOf, minimum, maximum } = part;
  if (part.const !== undefined) return wordOf(part.const);
  if (part.enum) return part.enum.map(wordOf).join(", ");
  if (anyOf) return [...new Set(anyOf.filter((one) => one.type !== "null").map(allowed))].join(" or ");
  if (type === "integer" || type === "number") {
    const kind = type === "integer" ? "whole number" : "number";
    if (minimum === undefined && maximum === undefined) return kind;
    if (maximum === undefined) return `${kind} from ${minimum}`;
    return `${kind} from ${minimum} to ${maximum}`;
  }
  return (
    ({ string: "text", boolean: "`true`, `false`", object: "a map", array: "a list" } as const)[
      type as "string"
    ] ?? ""
  );
}

/** As it is written in a file. */
function wordOf(value: unknown): string {
  return `\`${typeof value === "string" ? value : JSON.stringify(value)}\``;
}
