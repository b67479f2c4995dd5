import { readFileSync } from "node:fs";
import { join } from "node:path";

/** One published or independently computed value; `source` names where it comes from. */
export interface Check {
  readonly id: string;
  readonly topic: string;
  // biome-ignore lint/suspicious/noExplicitAny: each check has a shape of its own, read where it is used
  readonly inputs: any;
  // biome-ignore lint/suspicious/noExplicitAny: see above
  readonly expected: any;
  // biome-ignore lint/suspicious/noExplicitAny: see above
  readonly tolerance: any;
  readonly source: string;
}

const all: readonly Check[] = JSON.parse(
  readFileSync(join(import.meta.dirname, "check-values.json"), "utf8"),
).checks;

/** @throws when the file has no such check, so that a renamed one is not silently skipped */
export function check(id: string): Check {
  const found = all.find((one) => one.id === id);
  if (!found) throw new Error(`check-values.json holds no check "${id}"`);
  return found;
}

/** All checks whose id begins so. @throws when there is none */
export function checksOf(idPrefix: string): readonly Check[] {
  const found = all.filter((one) => one.id.startsWith(idPrefix));
  if (found.length === 0) throw new Error(`check-values.json holds no check "${idPrefix}…"`);
  return found;
}
