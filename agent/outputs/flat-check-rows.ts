import type { FlatCheckRecord, ImagesFound } from "../procedures/images/images-request.ts";
import type { RunRecord } from "../run/record/run-record.ts";
import type { Verdict } from "./page-shell.ts";
import type { ReportInput } from "./report-page.ts";

const words: Record<FlatCheckRecord["says"], readonly [says: string, verdict: Verdict]> = {
  fits: ["fits", "good"],
  moved: ["moved", "bad"],
  changed: ["changed", "bad"],
  other: ["is another train's", "bad"],
  none: ["is missing", "bad"],
  uncertain: ["is uncertain", "usable"],
  untold: ["can't be told", "none"],
};

/** Every check of the flat in a run, as the report's table shows it. */
export function flatCheckRows({ steps }: Pick<RunRecord, "steps">): NonNullable<ReportInput["checks"]> {
  return steps
    .filter(({ kind, found }) => kind === "images" && found !== undefined)
    .flatMap(({ found }) => (found as Partial<ImagesFound>).checks ?? [])
    .map((check) => {
      const [says, verdict] = words[check.says];
      const then =
        check.outcome === undefined
          ? ""
          : check.outcome === "new flat"
            ? " A new flat was taken."
            : ` The images went on: ${check.because}.`;
      return {
        clock: new Date(check.utcMs).toISOString().slice(11, 19),
        afterImages: check.afterImages,
        flat: check.flat ?? "",
        says,
        verdict,
        text: `In ${check.seenIn}: ${check.text.charAt(0).toLowerCase()}${check.text.slice(1)}${then}`,
      };
    });
}
