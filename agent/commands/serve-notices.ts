import type { Log } from "../../drivers/kit/log.ts";
import { startStopwatch } from "../../drivers/kit/stopwatch.ts";
import type { NoticesFile } from "../../plans/notices-file.ts";
import type { NewNotice } from "../service/notices/notice.ts";
import { NoticeBook } from "../service/notices/notice-book.ts";
import { NoticeDesk } from "../service/notices/notice-desk.ts";
import { rigStateOf } from "../service/notices/rig-state.ts";
import { gatherFacts, type PageSource } from "../service/page/page-facts.ts";
import type { ServiceStatus } from "../service/service-status.ts";
import { postsOf } from "./notices-from-file.ts";
import type { CommandHost } from "./outcome.ts";

/** Progress within one thing is shown no more often [s]. */
const progressEverySeconds = 10;

/** What a service tells to those who are far away, until it is disposed of. */
export interface ServiceNews extends AsyncDisposable {
  note(status: ServiceStatus): void;
  add(notice: Omit<NewNotice, "utcMs" | "phase">): void;
}

export async function openNews(
  notices: NoticesFile,
  source: PageSource,
  log: Log,
  { clock }: Pick<CommandHost, "clock">,
): Promise<ServiceNews> {
  const { rig, timeZone, ledger } = source;
  const posts = await postsOf(notices, rig, clock);
  const desk = new NoticeDesk({ book: new NoticeBook(ledger, rig), posts, timeZone, clock, log });
  const showsState = posts.some(({ sender }) => sender.showState !== undefined);
  const happened = (notice: Omit<NewNotice, "utcMs" | "phase">) =>
    desk.add([{ ...notice, utcMs: clock.nowMs(), phase: "happened" }]);
  happened({ kind: "service", text: `The service of ${rig} has begun.` });
  let shown = "";
  let sinceShown = startStopwatch(clock);
  return {
    add: happened,
    note(status) {
      desk.noteStatus(status);
      if (!showsState) return;
      const { progress: _, ...plain } = status;
      const now = JSON.stringify(plain);
      if (now === shown && sinceShown() < progressEverySeconds) return;
      shown = now;
      sinceShown = startStopwatch(clock);
      try {
        const facts = gatherFacts(source);
        if (facts) desk.showState(JSON.stringify(rigStateOf(facts)));
      } catch (error) {
        log.warn({ error: String(error) }, "how the rig stands could not be shown");
      }
    },
    async [Symbol.asyncDispose]() {
      happened({ kind: "service", text: `The service of ${rig} has ended.` });
      await desk[Symbol.asyncDispose]();
    },
  };
}
