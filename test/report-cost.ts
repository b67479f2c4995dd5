import { readFileSync } from "node:fs";
import { relative } from "node:path";
import type { Reporter, TestCase, TestModule } from "vitest/node";

/**
 * Tells what every file and its dearest tests cost [s of processor time], children that have ended included.
 * It goes by the whole process, so it tells the truth with one worker only: `npm run test:cost [-- FILES]`.
 */
export default class ReportCost implements Reporter {
  readonly #files: { path: string; tests: number; seconds: number }[] = [];
  readonly #tests: { name: string; seconds: number }[] = [];
  #atLastFile = processorSeconds();
  #atLastTest = this.#atLastFile;

  onTestCaseResult(test: TestCase): void {
    const now = processorSeconds();
    this.#tests.push({ name: `${place(test.module)} > ${test.name}`, seconds: now - this.#atLastTest });
    this.#atLastTest = now;
    const { state, errors } = test.result();
    if (state === "failed") console.error(`FAILED ${test.fullName}`, errors?.[0]?.message);
  }

  onTestModuleEnd(module: TestModule): void {
    const now = processorSeconds();
    const tests = [...module.children.allTests()].length;
    this.#files.push({ path: place(module), tests, seconds: now - this.#atLastFile });
    this.#atLastFile = now;
    this.#atLastTest = now;
    if (module.state() === "failed")
      console.error(`FAILED ${place(module)}`, module.errors()[0]?.message ?? "");
  }

  onTestRunEnd(): void {
    const dearest = <T extends { seconds: number }>(rows: T[]) =>
      rows.toSorted((a, b) => b.seconds - a.seconds);
    for (const { path, tests, seconds } of dearest(this.#files)) {
      console.log(`${seconds.toFixed(2).padStart(8)} s ${String(tests).padStart(4)} tests  ${path}`);
    }
    const sum = this.#files.reduce((total, { seconds }) => total + seconds, 0);
    console.log(`${sum.toFixed(1).padStart(8)} s in all. The dearest tests:`);
    for (const { name, seconds } of dearest(this.#tests).slice(0, 60)) {
      console.log(`${seconds.toFixed(2).padStart(8)} s  ${name}`);
    }
  }
}

const place = (module: TestModule) => relative(process.cwd(), module.moduleId);

/** Of this process and of its children that have ended [s]. */
function processorSeconds(): number {
  const { user, system } = process.cpuUsage();
  return (user + system) / 1e6 + childrenSeconds();
}

/** Linux alone tells it: fields 16 and 17 of /proc/self/stat, in hundredths of a second (proc(5)). */
function childrenSeconds(): number {
  try {
    const stat = readFileSync("/proc/self/stat", "latin1");
    const fields = stat.slice(stat.lastIndexOf(")") + 2).split(" ");
    return (Number(fields[13]) + Number(fields[14])) / 100;
  } catch {
    return 0;
  }
}
