import type { NoticeKind } from "../../../plans/notices-file.ts";
import type { AttemptEnded } from "../schedule/attempts.ts";
import type { ServiceStatus } from "../service-status.ts";
import type { NewNotice } from "./notice.ts";

/** What is wrong and has been told, by its kind, or `KIND/WHAT` where there are several of one kind; as what it was told. */
export type OpenConditions = Readonly<Record<string, string>>;

interface ConditionNow {
  readonly kind: "person-needed" | "rig-not-reached" | "file-refused" | "not-at-rest";
  /** Of what, where there are several of that kind. */
  readonly what?: string;
  /** Why, a sentence without its full stop; `undefined`: it is over; absent from the list: this status does not tell. */
  readonly because: string | undefined;
  readonly whatToDo?: string | undefined;
}

/** What is tried or read again by itself is so in other words each time; that is not told each time. */
const isToldAgain = (kind: ConditionNow["kind"]) => kind === "person-needed" || kind === "file-refused";

const over: Readonly<Record<ConditionNow["kind"], string>> = {
  "person-needed": "Nothing is held any more; the schedule goes on",
  "rig-not-reached": "The rig is not waited for any more",
  "file-refused": "The changed file is in use",
  "not-at-rest": "It is as it should be again",
};

/**
 * What is to be told of a change of the service's state. A service that has just begun, or is ending, does not know how things
 * are: then nothing ends.
 * @param open told before, by an earlier process too
 */
export function watchConditions(
  open: OpenConditions,
  status: ServiceStatus,
  utcMs: number,
): { readonly open: OpenConditions; readonly notices: readonly NewNotice[] } {
  const next: Record<string, string> = { ...open };
  const notices: NewNotice[] = [];
  for (const { kind, what, because, whatToDo } of [...conditionsOf(status), ...conditionsAtRest(status)]) {
    const key = what === undefined ? kind : `${kind}/${what}`;
    const before = open[key];
    if (because === undefined) {
      delete next[key];
      if (before !== undefined)
        notices.push({ utcMs, kind, phase: "ends", text: `${over[kind]}. It was: ${before}.` });
    } else if (before === undefined || (because !== before && isToldAgain(kind))) {
      next[key] = because;
      notices.push({ utcMs, kind, phase: "begins", text: `${capitalised(because)}.`, whatToDo });
    }
  }
  return { open: next, notices };
}

function conditionsOf(status: ServiceStatus): readonly ConditionNow[] {
  const { state, because, whatToDo, trouble, fileTrouble } = status;
  if (state === "starting" || state === "stopping") return [];
  const file: ConditionNow = {
    kind: "file-refused",
    because: fileTrouble && `a changed file can't be used, and the one before it is kept: ${fileTrouble}`,
  };
  const rig: ConditionNow = {
    kind: "rig-not-reached",
    because: trouble && `the rig can't be worked with: ${trouble}`,
  };
  if (state === "held") return [file, { kind: "person-needed", because, whatToDo }];
  if (trouble !== undefined) return [file, rig];
  // Putting a rig back is begun before anybody knows whether it can be reached or is held.
  if (state === "recovering") return [];
  return [file, rig, { kind: "person-needed", because: undefined }];
}

/** How the rig was seen to be between runs. What could not be seen tells nothing, but that nothing could be seen at all. */
function conditionsAtRest({ rest }: ServiceStatus): readonly ConditionNow[] {
  if (!rest) return [];
  const rows = rest
    .filter(({ what, verdict }) => what !== "rig" && verdict !== "not known")
    .map(({ what, verdict, text }): ConditionNow => {
      return { kind: "not-at-rest", what, because: verdict === "not so" ? `${what}: ${text}` : undefined };
    });
  const unseen = rest.find(({ what, verdict }) => what === "rig" && verdict !== "as it should be");
  return [...rows, { kind: "not-at-rest", what: "rig", because: unseen && `the rig: ${unseen.text}` }];
}

/** How a run or an entry that was left out ended, as what kind. */
const kindOfEnding: Readonly<Record<AttemptEnded, NoticeKind>> = {
  done: "run-done",
  "verdict-bad": "verdict-bad",
  safety: "not-safe",
  "device-failed": "run-failed",
  "nothing-made": "run-failed",
  "cut-short": "run-failed",
  "not-restored": "not-restored",
  stopped: "run-done",
  fault: "run-failed",
  "wrong-input": "run-failed",
  refused: "left-out",
};

export function noticeOfEnding(
  entry: string,
  ended: AttemptEnded,
  description: { readonly happened: string; readonly state?: string; readonly whatToDo?: string },
): Omit<NewNotice, "utcMs" | "phase"> {
  const { happened, state, whatToDo } = description;
  const text = [`${entry}: ${happened}`, state].filter((part) => part !== undefined).join(" ");
  return { kind: kindOfEnding[ended], text, whatToDo };
}

function capitalised(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}
