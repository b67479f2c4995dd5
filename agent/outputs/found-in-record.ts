import type { CentreFound } from "../procedures/centre/centre-ask.ts";
import type { FlatFound } from "../procedures/flat/flat-ask.ts";
import type { ImagesFound } from "../procedures/images/images-ask.ts";
import type { LeakCheckFound } from "../procedures/leak-check/leak-ask.ts";
import type { RunRecord } from "../run/record/run-record.ts";

interface FoundByKind {
  readonly centre: CentreFound;
  readonly "leak-check": LeakCheckFound;
  readonly flat: FlatFound;
  readonly images: ImagesFound;
}

/** What the last step of that kind found; `undefined` when there was none or it found nothing. */
export function lastFound<Kind extends keyof FoundByKind>(
  record: Pick<RunRecord, "steps">,
  kind: Kind,
): FoundByKind[Kind] | undefined {
  const step = record.steps.findLast((one) => one.kind === kind && one.found !== undefined);
  return step?.found as FoundByKind[Kind] | undefined; // the step table pairs kinds and procedures
}
