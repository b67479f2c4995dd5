import type { UncoverTools } from "../../safing/uncover.ts";
import type { BaselineEntry } from "../record/run-record.ts";

export interface RestoreRequest extends UncoverTools {
  readonly baseline: readonly BaselineEntry[];
  /** Never the signal that ended the run: cleaning up has a budget of its own. */
  readonly signal: AbortSignal;
  /** Why the run retreated, if it did: nothing is uncovered or pointed at the Sun again. */
  readonly retreatedBecause: readonly string[];
  /** Why nothing may be left open to the sky, if that is so now. */
  weatherAgainst(signal: AbortSignal): Promise<string | undefined>;
  /** Tells whoever watches, while the rig is not safe yet. */
  readonly warn?: (text: string) => void;
}
