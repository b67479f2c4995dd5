import { RunRefusedError } from "../record/run-errors.ts";

/** One thing that was looked at before anything moves. */
export interface CheckResult {
  readonly check: string;
  /** `doubtful`: a run would go on, and may come to grief; `not made`: it could not be looked at, the text says why. */
  readonly verdict: "passed" | "failed" | "doubtful" | "not made";
  /** What kind of refusal it is when it failed. */
  readonly kind: RunRefusedError["kind"];
  /** A sentence without its full stop. */
  readonly text: string;
  /** Of what failed or is doubtful. */
  readonly whatToDo?: string;
}

/** What is wrong with the input comes first, then what is unsafe. @throws RunRefusedError with every reason of its kind */
export function refuseFailed(results: readonly CheckResult[]): void {
  for (const kind of ["input", "safety"] as const) {
    const failed = results.filter((result) => result.verdict === "failed" && result.kind === kind);
    if (failed.length === 0) continue;
    const todo = new Set(failed.flatMap(({ whatToDo }) => whatToDo ?? []));
    throw new RunRefusedError(kind, failed.map(({ text }) => text).join("; "), [...todo].join(" "));
  }
}
