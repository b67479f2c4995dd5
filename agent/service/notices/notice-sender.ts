import type { Notice } from "./notice.ts";

/** One way to one receiver. */
export interface NoticeSender {
  /** Resolves when the other side has it. @throws why it has not; the secrets are taken out by the caller */
  send(notice: Notice, signal: AbortSignal): Promise<void>;
  /** How the rig stands now, for ways that show it. Neither waits nor throws. */
  showState?(json: string): void;
  /** Ends in good order, within seconds. Never throws. */
  close?(): Promise<void>;
}
