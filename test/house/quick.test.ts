import { readdirSync, readFileSync } from "node:fs";
import { dirname, join, relative, resolve } from "node:path";
import { expect, test } from "vitest";
import quick from "../../vitest.quick.config.ts";

const root = resolve(import.meta.dirname, "../..");

/** What plays whole runs or computes for minutes; the scenes and plans beside it are data. */
const dear = /^test\/(campaign|bench)\/|^test\/(stage\/stage|runs\/flat-of-run)\.ts$/;

const { exclude = [] } = quick.test ?? {};
const isQuick = (file: string) => !exclude.some((pattern: string) => new Bun.Glob(pattern).match(file));

const testFiles = readdirSync(join(root, "test"), { recursive: true, withFileTypes: true })
  .filter((entry) => entry.isFile() && entry.name.endsWith(".ts"))
  .map((entry) => relative(root, join(entry.parentPath, entry.name)));

test("what `npm run quick` runs plays no whole runs and no campaigns", () => {
  const quickFiles = testFiles.filter(isQuick);
  expect(quickFiles.length).toBeGreaterThan(80);
  const against = quickFiles.flatMap((file) =>
    [...readFileSync(join(root, file), "utf8").matchAll(/from\s*"(\.[^"]+)"/g)]
      .map((match) => relative(root, resolve(root, dirname(file), match[1]!)))
      .filter((imported) => dear.test(imported))
      .map((imported) => `${file} → ${imported}`),
  );
  expect(against).toEqual([]);
});
