import { readFileSync } from "node:fs";
import { join } from "node:path";
import { afterAll, beforeEach, expect } from "vitest";
import { type Exception, exceptions } from "./exceptions.ts";

// biome-ignore lint/suspicious/noExplicitAny: each check has a shape of its own, read where it is used
type Json = any;

/** One check as the list holds it; `source` names where its values come from. */
export interface ListedCheck {
  readonly id: string;
  readonly topic: string;
  readonly inputs: Json;
  readonly expected: Json;
  readonly tolerance: Json;
  readonly source: string;
}

export const listedChecks: readonly ListedCheck[] = JSON.parse(
  readFileSync(join(import.meta.dirname, "check-values.json"), "utf8"),
).checks;

export interface AgreeOptions {
  /** Which of the check's tolerances holds, where the value's own name does not tell. */
  readonly by?: string;
  /** How a listed text is read: "13 13 30.75" as degrees. */
  readonly read?: (listed: Json) => number;
}

/**
 * A check in use. Its tolerances are those of the list, or of `exceptions.ts`, and come from nowhere else; which values a
 * test has compared is written down, so that one left out is noticed.
 */
export class Check {
  readonly #compared = new Set<string>();
  readonly #needed = new Set<string>();

  constructor(private readonly listed: ListedCheck) {}

  get id(): string {
    return this.listed.id;
  }

  get inputs(): Json {
    return this.listed.inputs;
  }

  /** To calculate with. Reading a value here does not count as comparing it. */
  get expected(): Json {
    return this.listed.expected;
  }

  /** Compares what `expected` holds at a path ("intensity", "theory.0.5") with values of the same shape, one by one. */
  agrees(path: string, actual: unknown, options: AgreeOptions = {}): void {
    for (const [leaf, listed] of leavesOf(valueAt(this.expected, path), path)) {
      const value = valueAt(actual, leaf.slice(path.length + 1));
      this.#compare(leaf, value, options.read ? options.read(listed) : listed, options.by);
      this.#compared.add(leaf);
    }
  }

  /** Every listed value that no test of this file has compared and no exception excuses; every exception not needed. */
  complaints(): string[] {
    const left = leavesOf(this.expected)
      .map(([leaf]) => leaf)
      .filter((leaf) => !this.#compared.has(leaf) && !isExcused(exceptionOf(this.id, leaf)?.exception));
    const idle = Object.entries(exceptions)
      .filter(([name, one]) => name.split(" ")[0] === this.id && !isExcused(one) && !this.#needed.has(name))
      .map(([name]) => name);
    return [
      ...left.map((leaf) => `${this.id} ${leaf}: no test compares it and exceptions.ts does not name it`),
      ...idle.map((name) => `${name}: the exception is not needed, all is within the listed tolerance`),
    ];
  }

  #compare(leaf: string, value: unknown, wanted: unknown, by: string | undefined): void {
    const told = `${this.id} ${leaf}: ${String(value)} against ${String(wanted)}`;
    const made = exceptionOf(this.id, leaf);
    if (isExcused(made?.exception))
      throw new Error(`${told}: compared, though exceptions.ts says that it is not`);
    if (typeof wanted !== "number") {
      expect(value, told).toBe(wanted);
      return;
    }
    const off = Math.abs((value as number) - wanted);
    const listedMost = this.#listedMost(leaf, wanted, by);
    // The last bits of a difference of decimals are no disagreement.
    const within = (most: number) => off <= most * (1 + 1e-9) + 4 * Number.EPSILON * Math.abs(wanted);
    if (made && !(listedMost !== undefined && within(listedMost))) this.#needed.add(made.name);
    if (!made && listedMost === undefined)
      throw new Error(`${told}: no tolerance is listed, and no exception is made`);
    const most = made
      ? (made.exception.within ?? made.exception.withinShare! * Math.abs(wanted))
      : listedMost!;
    expect(within(most), `${told}: off by ${off}, at most ${most} is allowed`).toBe(true);
  }

  /** By the tolerance named, else that of the value's own name, else the common one. */
  #listedMost(leaf: string, wanted: number, by: string | undefined): number | undefined {
    const { tolerance } = this.listed;
    const key = leaf.split(".")[0]!;
    const names = by === undefined ? [key, `${key}Rel`, "abs", "rel"] : [by];
    const name = names.find((one) => typeof tolerance[one] === "number");
    if (name === undefined && by !== undefined) throw new Error(`${this.id} lists no tolerance "${by}"`);
    if (name === undefined) return undefined;
    return name === "rel" || name.endsWith("Rel") ? tolerance[name] * Math.abs(wanted) : tolerance[name];
  }
}

const opened = new Map<string, Check>();
const openedInPart = new Map<string, Check>();

function open(id: string, into: Map<string, Check>): Check {
  const listed = listedChecks.find((one) => one.id === id);
  if (!listed) throw new Error(`check-values.json holds no check "${id}"`);
  const found = into.get(id) ?? new Check(listed);
  into.set(id, found);
  return found;
}

/** The test file that asks for a check compares all of its values. @throws when the list has no such check */
export function check(id: string): Check {
  return open(id, opened);
}

/** For a second test file, which compares some of the values only. */
export function checkInPart(id: string): Check {
  return open(id, openedInPart);
}

/** All checks whose id begins so. @throws when there is none */
export function checksOf(idPrefix: string): readonly Check[] {
  const found = listedChecks.filter((one) => one.id.startsWith(idPrefix));
  if (found.length === 0) throw new Error(`check-values.json holds no check "${idPrefix}…"`);
  return found.map(({ id }) => check(id));
}

interface Task {
  readonly mode: string;
  readonly result?: { readonly state: string };
  readonly tasks?: readonly Task[];
}

/** Whether everything in the file was run: a test that was left out or failed has compared nothing. */
function allPassed(task: Task): boolean {
  if (task.tasks) return task.tasks.every(allPassed);
  return task.mode === "run" && task.result?.state === "pass";
}

let file: Task | undefined;
beforeEach(({ task }) => {
  file = task.file;
});

afterAll(() => {
  if (!file || !allPassed(file)) return;
  const complaints = [...opened.values()].flatMap((one) => one.complaints());
  if (complaints.length > 0) throw new Error(complaints.join("\n"));
});

/** The exception for a value: named by the check's id and the value's path, or by the beginning of the latter. */
export function exceptionOf(id: string, leaf: string): { name: string; exception: Exception } | undefined {
  const parts = leaf.split(".");
  for (let length = parts.length; length >= 0; length--) {
    const name = `${id} ${parts.slice(0, length).join(".")}`.trim();
    const exception = exceptions[name];
    if (exception) return { name, exception };
  }
  return undefined;
}

export function isExcused(exception: Exception | undefined): boolean {
  return exception !== undefined && exception.within === undefined && exception.withinShare === undefined;
}

/** Each number or text in it, with its path. */
export function leavesOf(value: unknown, path = ""): [leaf: string, value: unknown][] {
  if (typeof value !== "object" || value === null) return [[path, value]];
  return Object.entries(value).flatMap(([key, part]) => leavesOf(part, path === "" ? key : `${path}.${key}`));
}

/** Keys may hold points themselves ("0.5"): the longest that fits is taken. */
function valueAt(value: unknown, path: string): unknown {
  if (path === "") return value;
  const key = Object.keys(value ?? {})
    .filter((one) => path === one || path.startsWith(`${one}.`))
    .sort((a, b) => b.length - a.length)[0];
  if (key === undefined) throw new Error(`there is no value "${path}"`);
  return valueAt((value as Record<string, unknown>)[key], path.slice(key.length + 1));
}
