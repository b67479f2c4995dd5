import { given } from "../../../drivers/kit/given.ts";
import { type Verdict, verdictWords } from "../../outputs/page-shell.ts";
import { spanText } from "../../outputs/terminal-progress.ts";
import { type DrillRecord, drillParts } from "../../run/ledger/drills.ts";
import { localText } from "../schedule/local-day.ts";
import type { PageFacts } from "./page-facts.ts";

/** A word to see from afar, and lines to read. */
export interface Answer {
  readonly verdict: Verdict;
  readonly word: string;
  readonly lines: readonly string[];
  /** Where the report that it is from is shown. */
  readonly report?: string;
}

export interface FourAnswers {
  readonly safe: Answer;
  readonly working: Answer;
  readonly flat: Answer;
  readonly toDo: Answer;
}

const notProved = "not proved";

/** So much later than it said that it would look again, it is not believed to look any more. */
const lateMs = 5 * 60_000;

export function answerFour(facts: PageFacts): FourAnswers {
  const safe = isSafe(facts);
  return { safe, working: isWorking(facts), flat: isFlatGood(facts), toDo: whatToDo(facts, safe) };
}

/** Nothing is called safe but what was read back. */
function isSafe({ status, records, timeZone }: PageFacts): Answer {
  const { state } = status;
  if (state === "recovering")
    return {
      verdict: "bad",
      word: "not known",
      lines: [
        "A run was cut short and the rig is not put back yet. Keep away from the eyepiece and the finder.",
      ],
    };
  if (state === "running")
    return {
      verdict: "usable",
      word: "watched",
      lines: [
        "A run is under way and the telescope may be open. Its guard covers it when one of the run's conditions fails.",
      ],
    };
  if ("trouble" in records || !records.left)
    return {
      verdict: "none",
      word: "not known",
      lines: ["No run on record here says how it left the telescope. Take it as open to the Sun."],
    };
  const { covered, cover, endedUtcMs } = records.left;
  const when = `when the last run ended, at ${localText(endedUtcMs, timeZone)}`;
  const seen = status.rest?.find(({ what }) => what === "cover");
  if (seen?.verdict === "not so")
    return {
      verdict: "bad",
      word: notProved,
      lines: [`The cover is not closed: ${seen.text}.`, "Keep away from the eyepiece and the finder."],
    };
  const since =
    seen?.verdict === "as it should be"
      ? `Since then ${seen.text.replace("it", "it still")}.`
      : "Since then nobody could look at the cover: this is how it was left.";
  const doubt = covered.proved ? covered.unseen : covered.why;
  if (!covered.proved || doubt !== undefined || (cover !== undefined && cover !== "closed"))
    return {
      verdict: "bad",
      word: notProved,
      lines: [
        `The telescope was not proved to be covered ${when}: ${doubt ?? `the cover read ${cover}`}.`,
        "Keep away from the eyepiece and the finder.",
      ],
    };
  return {
    verdict: "good",
    word: "covered",
    lines: [`The telescope was covered ${when}, by ${covered.by}.`, since],
  };
}

function isWorking({ status, records, nowUtcMs, timeZone }: PageFacts): Answer {
  const { state, because, sinceUtcMs, untilUtcMs, progress, fileTrouble } = status;
  const at = (utcMs: number) => localText(utcMs, timeZone);
  const until = untilUtcMs === undefined || state === "held" ? "" : ` (until ${at(untilUtcMs)})`;
  const lines = [`${state[0]!.toUpperCase()}${state.slice(1)} since ${at(sinceUtcMs)}: ${because}${until}.`];
  if (progress) {
    const { stepIndex, stepCount, what, done, of, secondsLeft } = progress;
    const left = secondsLeft === undefined ? "" : `, about ${spanText(secondsLeft)} left of it`;
    lines.push(`Step ${stepIndex + 1} of ${stepCount}, ${what}: ${done} of ${of}${left}.`);
  }
  if (fileTrouble !== undefined)
    lines.push(`A changed file can't be used, the one before it is kept: ${fileTrouble}`);
  for (const { what, text } of status.rest?.filter(({ verdict }) => verdict === "not so") ?? [])
    lines.push(`Seen between runs, ${what}: ${text}.`);
  if ("trouble" in records) return { verdict: "bad", word: "no", lines: [...lines, records.trouble] };
  lines.push(drillLine(records.drills, at));
  const { lastAttempt } = records;
  const hasFailed = lastAttempt?.ended !== undefined && !["done", "refused"].includes(lastAttempt.ended);
  if (hasFailed)
    lines.push(
      `The last thing, ${lastAttempt.entry}, ended as ${lastAttempt.ended}. ${lastAttempt.because ?? ""}`.trimEnd(),
    );
  if (state === "held") return { verdict: "bad", word: "held", lines };
  if (untilUtcMs !== undefined && nowUtcMs > untilUtcMs + lateMs)
    return {
      verdict: "bad",
      word: "no",
      lines: [...lines, "That time is past, and it has not said anything since."],
    };
  const isDoubtful = state === "recovering" || state === "stopping" || hasFailed || fileTrouble !== undefined;
  return { verdict: isDoubtful ? "usable" : "good", word: isDoubtful ? state : "yes", lines };
}

/** Whether the rig was shown to stand what no run should have to. */
function drillLine(drills: readonly DrillRecord[], at: (utcMs: number) => string): string {
  const failed = drills.find(({ passed }) => !passed);
  if (failed) return `The drill failed at ${at(failed.utcMs)}, ${failed.part}: ${failed.text}.`;
  const missing = drillParts.filter((part) => !drills.some((one) => one.part === part));
  if (missing.length > 0) return `No drill is on record for: ${missing.join(", ")}.`;
  const oldest = drills.toSorted((a, b) => a.utcMs - b.utcMs)[0]!;
  return `The drill was passed at ${at(oldest.utcMs)}, with ${oldest.present} at the telescope.`;
}

function isFlatGood({ records, timeZone }: PageFacts): Answer {
  if ("trouble" in records)
    return { verdict: "none", word: "not known", lines: ["The ledger can't be read."] };
  const { lastFlat } = records;
  if (!lastFlat)
    return { verdict: "none", word: verdictWords.none, lines: ["None of this rig is on record yet."] };
  const verdict = lastFlat.verdict in verdictWords ? (lastFlat.verdict as Verdict) : "none";
  const hours = lastFlat.ageSeconds / 3600;
  const age = hours < 48 ? `${hours.toFixed(1)} hours` : `${(hours / 24).toFixed(0)} days`;
  return {
    verdict,
    word: verdictWords[verdict],
    lines: [`The newest was made at ${localText(lastFlat.madeUtcMs, timeZone)}, ${age} ago.`],
    ...given({ report: lastFlat.report }),
  };
}

function whatToDo({ status, records }: PageFacts, safe: Answer): Answer {
  const isUncovered = safe.word === notProved;
  const now = [
    status.whatToDo,
    isUncovered
      ? "Have somebody cover the telescope, or make sure that it points away from the Sun."
      : undefined,
  ].filter((line) => line !== undefined);
  const later = [
    "trouble" in records ? records.trouble : undefined,
    status.fileTrouble === undefined ? undefined : `Mend the file: ${status.fileTrouble}`,
    "trouble" in records || records.lastFlat?.verdict !== "bad"
      ? undefined
      : "Read in the newest flat's report which figure is bad and why.",
  ].filter((line) => line !== undefined);
  const lines = [...now, ...later];
  if (lines.length === 0) return { verdict: "good", word: "nothing", lines };
  if (now.length === 0) return { verdict: "usable", word: "when you can", lines };
  return { verdict: "bad", word: "act now", lines };
}
