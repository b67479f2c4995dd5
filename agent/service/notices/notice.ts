import { type NoticeKind, noticeKinds } from "../../../plans/notices-file.ts";

/** One thing that somebody far away is to know. */
export interface Notice {
  /** Its number in the ledger of one rig: a receiver that gets it twice can tell. */
  readonly id: number;
  readonly rig: string;
  readonly utcMs: number;
  readonly kind: NoticeKind;
  /** Whether a condition begins or ends, or something happened. */
  readonly phase: "begins" | "ends" | "happened";
  /** One or more whole sentences, with their numbers. */
  readonly text: string;
  readonly whatToDo?: string | undefined;
}

export type NewNotice = Omit<Notice, "id" | "rig">;

/** What is sent to programs. */
export function noticeJson({ id, rig, utcMs, kind, phase, text, whatToDo }: Notice): string {
  const utc = new Date(utcMs).toISOString();
  return JSON.stringify({ rig, id, utc, kind, phase, text, ...(whatToDo ? { whatToDo } : {}) });
}

/** The line that stands first wherever there is one. */
export function noticeTitle({ rig, kind, phase }: Pick<Notice, "rig" | "kind" | "phase">): string {
  const what = kind.replaceAll("-", " ");
  return phase === "happened" ? `${rig}: ${what}` : `${rig}: ${what}, ${phase}`;
}

export function urgencyOf(kind: NoticeKind): number {
  return noticeKinds.indexOf(kind);
}
