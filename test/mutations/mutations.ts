import { spawnSync } from "node:child_process";
import { cpSync, mkdtempSync, readFileSync, rmSync, symlinkSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { killers, type Mutant, mutants } from "./mutants.ts";

const root = join(import.meta.dirname, "../..");
const copied = [
  "agent",
  "drivers",
  "plans",
  "sim-devices",
  "test",
  "package.json",
  "tsconfig.json",
  "vitest.config.ts",
];

export interface MutationResult {
  readonly mutant: Mutant;
  /** The first test that noticed; `undefined`: it survived. */
  readonly killedBy: string | undefined;
}

/**
 * Breaks one line at a time in a copy of the tree and runs the tests that have to notice.
 * @param only those whose file or reason has this in it
 * @throws when a line is not found exactly once: the list has to follow the code
 */
export async function run({
  print,
  only = "",
  count = mutants.length,
}: {
  print: (line: string) => void;
  only?: string;
  count?: number;
}): Promise<readonly MutationResult[]> {
  const chosen = mutants.filter(({ file, why }) => `${file} ${why}`.includes(only)).slice(0, count);
  for (const mutant of chosen) mutate(readFileSync(join(root, mutant.file), "utf8"), mutant);
  const folder = mkdtempSync(join(tmpdir(), "evenfield-mutations-"));
  try {
    for (const name of copied) cpSync(join(root, name), join(folder, name), { recursive: true });
    symlinkSync(join(root, "node_modules"), join(folder, "node_modules"));
    const results = chosen.map((mutant) => {
      const killedBy = killerOf(folder, mutant);
      print(`${killedBy === undefined ? "SURVIVES" : "killed  "}  ${mutant.file}: ${mutant.why}`);
      if (killedBy !== undefined) print(`          by ${killedBy}`);
      return { mutant, killedBy };
    });
    const survivors = results.filter(({ killedBy }) => killedBy === undefined).length;
    print(`${results.length} lines broken, ${results.length - survivors} noticed, ${survivors} not`);
    return results;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function mutate(text: string, { file, from, to }: Mutant): string {
  const parts = text.split(from);
  if (parts.length !== 2) throw new Error(`${file} has ${parts.length - 1} times: ${from}`);
  return parts.join(to);
}

function killerOf(folder: string, mutant: Mutant): string | undefined {
  const path = join(folder, mutant.file);
  const before = readFileSync(path, "utf8");
  const { tests } = killers.find(({ room }) => mutant.file.startsWith(`${room}/`))!;
  writeFileSync(path, mutate(before, mutant));
  try {
    for (const test of tests) {
      const vitest = [
        "--bun",
        join(folder, "node_modules/.bin/vitest"),
        "run",
        "--bail",
        "1",
        "--reporter",
        "json",
        test,
      ];
      const { status, stdout } = spawnSync(process.execPath, vitest, {
        cwd: folder,
        encoding: "utf8",
        maxBuffer: 1 << 28,
      });
      if (status !== 0) return `${test}: ${failedTest(stdout)}`;
    }
    return undefined;
  } finally {
    writeFileSync(path, before);
  }
}

interface Report {
  readonly testResults: readonly {
    readonly assertionResults: readonly { readonly status: string; readonly title: string }[];
  }[];
}

function failedTest(report: string): string {
  try {
    const { testResults } = JSON.parse(report.slice(report.indexOf("{"))) as Report;
    const failed = testResults
      .flatMap((file) => file.assertionResults)
      .find(({ status }) => status === "failed");
    return failed?.title ?? "it does not load";
  } catch {
    return "it does not load";
  }
}
