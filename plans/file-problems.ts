import type * as z from "zod";
import { keysMark } from "./fields.ts";
import { nearestWord } from "./nearest.ts";
import { readYaml, type YamlSource } from "./yaml-source.ts";

/** One thing that is wrong with a file: where, what was found, what is allowed. */
export interface FileProblem {
  readonly file: string;
  readonly line: number;
  readonly message: string;
}

/** A plan or rig file that cannot be used; every problem found is in it. */
export class FileProblemsError extends Error {
  readonly code = "FILE_PROBLEMS";
  readonly whatToDo = "Correct the lines named above; nothing on the rig was touched.";
  constructor(readonly problems: readonly FileProblem[]) {
    super(problems.map((p) => `${p.file}:${p.line}: ${p.message}`).join("\n"));
    this.name = "FileProblemsError";
  }
}

/**
 * Reads a YAML text against a schema whose error texts say what is allowed (`fields.ts`).
 * @throws FileProblemsError with all problems, in the order of their lines
 */
export function readChecked<Schema extends z.ZodType>(
  text: string,
  file: string,
  schema: Schema,
): z.infer<Schema> {
  const source = readYaml(text);
  const syntaxError = source.syntaxErrors[0]; // those behind it mostly follow from it
  if (syntaxError) {
    const { line, message } = syntaxError;
    throw new FileProblemsError([{ file, line, message: `not readable as YAML: ${message}` }]);
  }
  const result = schema.safeParse(source.data, { reportInput: true });
  if (result.success) return result.data;
  const found = result.error.issues.flatMap((issue) => describeIssue(issue, source));
  const meant = new Set(found.map((problem) => problem.means));
  const problems = found
    .filter((problem) => problem.missing === undefined || !meant.has(problem.missing)) // one fault, one message
    .map(({ line, message }) => ({ file, line, message }));
  throw new FileProblemsError(problems.sort((a, b) => a.line - b.line));
}

interface FoundProblem extends Omit<FileProblem, "file"> {
  /** The key that is missing, or that a misspelt one meant. */
  readonly missing?: string;
  readonly means?: string | undefined;
}

function describeIssue(issue: z.core.$ZodIssue, source: YamlSource): FoundProblem[] {
  const path = issue.path;
  const name = pathText(path);
  if (issue.code === "unrecognized_keys") {
    const allowed = issue.message.replace(keysMark, "");
    return issue.keys.map((key) => {
      const nearest = nearestWord(key, allowed.split(", "));
      const hint = nearest ? ` (did you mean \`${nearest}\`?)` : "";
      const where = name === "" ? "" : ` in \`${name}\``;
      return {
        line: source.lineOfKey(path, key),
        message: `unknown key \`${key}\`${where}${hint}; allowed: ${allowed}`,
        means: nearest === undefined ? undefined : pathText([...path, nearest]),
      };
    });
  }
  const line = source.lineOf(path);
  const what = name === "" ? "the file" : `\`${name}\``;
  if (issue.code === "custom" && issue.params?.whole === true) return [{ line, message: issue.message }];
  const allowed = issue.message.startsWith(keysMark)
    ? `a map with the ${issue.message.replace(":", "")}`
    : issue.message;
  const found = issue.input;
  if (found === undefined && !hasPath(source.data, path)) {
    return [{ line, message: `${what} is missing; allowed: ${allowed}`, missing: name }];
  }
  return [{ line, message: `${what} is ${describeValue(found)}; allowed: ${allowed}` }];
}

function hasPath(data: unknown, path: readonly PropertyKey[]): boolean {
  let at: unknown = data;
  for (const part of path) {
    if (at === null || typeof at !== "object" || !(part in at)) return false;
    at = (at as Record<PropertyKey, unknown>)[part];
  }
  return true;
}

/** `steps[2].flat.frames`; steps are numbered from 1 in text, as people count them. */
export function pathText(path: readonly PropertyKey[]): string {
  return path
    .map((part, index) =>
      typeof part === "number" ? `[${part + 1}]` : index === 0 ? String(part) : `.${String(part)}`,
    )
    .join("");
}

function describeValue(value: unknown): string {
  if (value === undefined || value === null) return "empty";
  if (typeof value === "number" && !Number.isFinite(value)) return String(value);
  if (Array.isArray(value) && value.length > 100) return `a list of ${value.length}`;
  const text = JSON.stringify(value);
  return text.length > 60 ? `${text.slice(0, 57)}…` : text;
}
