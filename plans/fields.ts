import * as z from "zod";

/**
 * The kinds of value that plan and rig files hold. Each field's error text is the sentence that ends
 * "…; allowed: " and nothing else: `file-problems.ts` adds where it stands and what was found.
 */

function rangeText(min: number, max: number, unit: string): string {
  const of = unit === "" ? "" : ` ${unit}`;
  if (Number.isFinite(min) && Number.isFinite(max)) return `from ${min} to ${max}${of}`;
  return Number.isFinite(min) ? `of at least ${min}${of}` : unit === "" ? "" : `of ${unit}`;
}

/** A plain number with both limits included; its unit stands in the key, never in the value. */
export function numberFrom(min: number, max: number, unit = "") {
  const allowed = `a number ${rangeText(min, max, unit)}${unit === "" ? "" : ", written without the unit"}`;
  return z.number({ error: allowed }).min(min, { error: allowed }).max(max, { error: allowed });
}

export function wholeFrom(min: number, max: number, unit = "") {
  const allowed = `a whole number ${rangeText(min, max, unit)}`;
  return z
    .number({ error: allowed })
    .int({ error: allowed })
    .min(min, { error: allowed })
    .max(max, { error: allowed });
}

export function textLine(what: string, lengthMax = 200) {
  const allowed = `${what}, 1 to ${lengthMax} characters of text`;
  return z.string({ error: allowed }).trim().min(1, { error: allowed }).max(lengthMax, { error: allowed });
}

/** A short name that also serves in file names. */
export function shortName(what: string) {
  const allowed = `${what}: lower-case letters, digits and hyphens, 1 to 40 of them, a letter first`;
  return z.string({ error: allowed }).regex(/^[a-z][a-z0-9-]{0,39}$/, { error: allowed });
}

export function oneOf<const T extends readonly [string, ...string[]]>(choices: T) {
  return z.enum(choices, { error: choices.join(", ") });
}

/** A calendar day that exists, `YYYY-MM-DD`, or a time on it with its zone, `YYYY-MM-DDThh:mmZ` or `…+hh:mm`. */
export function dayOrTime() {
  const allowed = "a day that exists, written YYYY-MM-DD, or a time on it in UTC, written YYYY-MM-DDThh:mmZ";
  return z
    .string({ error: allowed })
    .refine((text) => !Number.isNaN(dayOrTimeUtcMs(text)), { error: allowed });
}

/** @returns when a day began in UTC, or the time itself [ms]; NaN for what is neither */
export function dayOrTimeUtcMs(text: string): number {
  const parts =
    /^(\d{4}-\d\d-\d\d)(T([01]\d|2[0-3]):[0-5]\d(:[0-5]\d)?(Z|[+-]([01]\d|2[0-3]):[0-5]\d))?$/.exec(text);
  const [, day, time] = parts ?? [];
  const beginMs = Date.parse(`${day}T00:00:00Z`);
  if (Number.isNaN(beginMs) || !new Date(beginMs).toISOString().startsWith(day!)) return Number.NaN;
  return time === undefined ? beginMs : Date.parse(text);
}

/** A time zone that this computer knows, by its name in the IANA list; an offset knows no summer time and is none. */
export function zoneName() {
  const allowed = "the name of a time zone in the IANA list, such as Europe/Zurich";
  return z.string({ error: allowed }).refine(isZoneName, { error: allowed });
}

function isZoneName(text: string): boolean {
  if (!/^[A-Za-z]/.test(text)) return false;
  try {
    Intl.DateTimeFormat("en", { timeZone: text });
    return true;
  } catch {
    return false;
  }
}

/** Starts the error text of a map; what follows are its keys. */
export const keysMark = "keys: ";

/** A map that takes these keys and no others; an unknown key is answered with the nearest of them. */
export function mapOf<const Shape extends z.core.$ZodLooseShape>(shape: Shape) {
  return z.strictObject(shape, { error: keysMark + Object.keys(shape).join(", ") });
}

/** What an entry that is told apart by its looks may be, for the JSON Schema of its file. */
export function schemaInFile(schema: z.ZodType): Record<string, unknown> {
  const { $schema: _, ...inner } = z.toJSONSchema(schema, { io: "input" });
  return inner;
}

/** The value of an entry whose schema depends on what it looks like; its faults become the entry's own. */
export function parsePart<Schema extends z.ZodType>(
  schema: Schema,
  part: unknown,
  ctx: z.core.$RefinementCtx,
  path: readonly PropertyKey[] = [],
): z.infer<Schema> {
  const result = schema.safeParse(part, { reportInput: true });
  if (result.success) return result.data;
  for (const issue of result.error.issues)
    ctx.issues.push({ ...issue, path: [...path, ...issue.path] } as z.core.$ZodRawIssue);
  return z.NEVER;
}
