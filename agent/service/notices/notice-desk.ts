import type { Clock } from "../../../drivers/kit/clock.ts";
import { withDeadline } from "../../../drivers/kit/deadline.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import type { Receiver } from "../../../plans/notices-file.ts";
import type { ServiceStatus } from "../service-status.ts";
import { chooseNext, retrySeconds, type Waiting } from "./choose-next.ts";
import { type NewNotice, type Notice, urgencyOf } from "./notice.ts";
import type { NoticeBook, PostMark } from "./notice-book.ts";
import type { NoticeSender } from "./notice-sender.ts";
import { withoutSecrets } from "./secret-file.ts";
import { type OpenConditions, watchConditions } from "./watch-conditions.ts";

const hourMs = 3_600_000;
/** A receiver that can't be reached for long is not to be flooded when it can: beyond that the least urgent go. */
const waitingMost = 300;
const sendSeconds = 45;
/** The system's time may be set: no wait for a time of day is longer [s]. */
const lookEverySeconds = 60;
const goodbyeSeconds = 10;

export interface Post {
  readonly receiver: Receiver;
  readonly sender: NoticeSender;
}

interface Tray extends Post {
  waiting: Waiting[];
  sentUtcMs: number[];
  dropped: number;
  lastTrouble: string;
  wake: () => void;
}

export interface NoticeDeskOptions {
  readonly book: NoticeBook;
  readonly posts: readonly Post[];
  readonly timeZone: string;
  readonly clock: Clock;
  readonly log: Log;
}

/**
 * Takes down what is to be told, and tells it, each receiver by itself. Nothing of it waits or throws into the service: a ledger
 * or a network that fails costs a line in the log, and what could not be told waits, in the ledger where that can be written.
 */
export class NoticeDesk implements AsyncDisposable {
  #open: OpenConditions = {};
  readonly #trays: readonly Tray[];
  readonly #marks: PostMark[] = [];
  readonly #stop = new AbortController();
  readonly #work: Promise<unknown>;
  #worksOnRig = false;
  /** Of notices that no ledger has numbered. */
  #ownId = 0;

  constructor(private readonly options: NoticeDeskOptions) {
    const { book, posts, clock } = options;
    this.#try(() => {
      this.#open = book.open(clock.nowMs());
    });
    this.#trays = posts.map((post) => {
      const tray: Tray = { ...post, waiting: [], sentUtcMs: [], dropped: 0, lastTrouble: "", wake: () => {} };
      this.#try(() => {
        tray.waiting = [...book.waiting(post.receiver.name)];
        tray.sentUtcMs = [...book.sentUtcMs(post.receiver.name, clock.nowMs() - hourMs)];
      });
      return tray;
    });
    this.#work = Promise.all(this.#trays.map((tray) => this.#serve(tray))).catch((error: unknown) =>
      options.log.error({ error: withoutSecrets(String(error)) }, "a fault of ours: notices are not sent"),
    );
  }

  /** @param worksOnRig while it does, nothing waits for the ledger's disk */
  noteStatus(status: ServiceStatus): void {
    const { clock } = this.options;
    this.#worksOnRig = status.state === "running" || status.state === "recovering";
    const { open, notices } = watchConditions(this.#open, status, clock.nowMs());
    this.#open = open;
    if (notices.length > 0) this.add(notices);
    this.#writeMarks();
  }

  add(notices: readonly NewNotice[]): void {
    const { book, posts } = this.options;
    let numbered: readonly Notice[] | undefined;
    const names = (notice: NewNotice) =>
      posts
        .filter(({ receiver: { kinds } }) => kinds === undefined || kinds.includes(notice.kind))
        .map(({ receiver }) => receiver.name);
    this.#try(() => {
      numbered = notices.flatMap((notice) => book.add([notice], names(notice), this.#open));
    });
    numbered ??= notices.map((notice) => ({ ...notice, id: --this.#ownId, rig: book.rig }));
    for (const notice of numbered)
      for (const tray of this.#trays.filter(({ receiver }) => names(notice).includes(receiver.name))) {
        tray.waiting.push({ notice, tries: 0, notBeforeUtcMs: 0 });
        if (tray.waiting.length > waitingMost) this.#drop(tray);
        tray.wake();
      }
  }

  /** The least urgent, and of those the oldest. */
  #drop(tray: Tray): void {
    const least = tray.waiting.reduce((a, b) =>
      urgencyOf(b.notice.kind) > urgencyOf(a.notice.kind) ? b : a,
    );
    tray.dropped++;
    this.#finish(tray, least, false);
  }

  showState(json: string): void {
    for (const { sender } of this.#trays) this.#try(() => sender.showState?.(json));
  }

  async #serve(tray: Tray): Promise<void> {
    const { clock, timeZone } = this.options;
    const { signal } = this.#stop;
    while (!signal.aborted) {
      const nowUtcMs = clock.nowMs();
      const chosen = chooseNext(tray.receiver, tray.waiting, tray.sentUtcMs, nowUtcMs, timeZone);
      if ("send" in chosen) await this.#send(tray, chosen.send);
      else {
        const seconds = Math.max(0.001, Math.min(lookEverySeconds, (chosen.lookUtcMs - nowUtcMs) / 1000));
        const rest = new AbortController();
        tray.wake = () => rest.abort();
        await clock.sleep(seconds, AbortSignal.any([rest.signal, signal])).catch(() => {});
      }
    }
  }

  async #send(tray: Tray, waiting: Waiting, withinSeconds = sendSeconds): Promise<void> {
    const { clock, log } = this.options;
    const { receiver, sender } = tray;
    const { notice, tries } = waiting;
    const { dropped } = tray;
    const more = dropped === 0 ? "" : ` (${dropped} earlier and less urgent notices could not be kept.)`;
    const request = {
      device: receiver.name,
      what: "take a notice",
      withinSeconds,
      signal: this.#stop.signal,
    };
    try {
      await withDeadline(clock, request, (signal) =>
        clock.hold(sender.send({ ...notice, text: notice.text + more }, signal)),
      );
      tray.dropped -= dropped;
      tray.sentUtcMs = [...tray.sentUtcMs.filter((at) => at > clock.nowMs() - hourMs), clock.nowMs()];
      tray.lastTrouble = "";
      this.#finish(tray, waiting, true);
    } catch (error) {
      if (this.#stop.signal.aborted) return;
      const why = withoutSecrets(error instanceof Error ? error.message : String(error));
      if (why !== tray.lastTrouble)
        log.warn({ receiver: receiver.name, error: why }, "a notice could not be sent and waits");
      tray.lastTrouble = why;
      const notBeforeUtcMs = clock.nowMs() + 1000 * retrySeconds(tries);
      const next = { ...waiting, tries: tries + 1, notBeforeUtcMs };
      tray.waiting = tray.waiting.map((one) => (one.notice.id === notice.id ? next : one));
      this.#marks.push({
        noticeId: notice.id,
        receiver: receiver.name,
        tries: tries + 1,
        notBeforeUtcMs,
        sent: false,
      });
      this.#writeMarks();
    }
  }

  #finish(tray: Tray, { notice, tries }: Waiting, sent: boolean): void {
    tray.waiting = tray.waiting.filter((one) => one.notice.id !== notice.id);
    const doneUtcMs = this.options.clock.nowMs();
    const receiver = tray.receiver.name;
    this.#marks.push({ noticeId: notice.id, receiver, tries, notBeforeUtcMs: 0, doneUtcMs, sent });
    this.#writeMarks();
  }

  #writeMarks(): void {
    if (this.#worksOnRig || this.#marks.length === 0) return;
    const marks = this.#marks.splice(0);
    this.#try(() => this.options.book.mark(marks.filter(({ noticeId }) => noticeId > 0)));
  }

  #try(work: () => void): void {
    try {
      work();
    } catch (error) {
      this.options.log.warn(
        { error: withoutSecrets(String(error)) },
        "notices could not be kept as they should",
      );
    }
  }

  /** What is due is still tried once, for some seconds; what is left waits in the ledger. */
  async [Symbol.asyncDispose](): Promise<void> {
    const { clock, timeZone } = this.options;
    const last = this.#trays.map(async (tray) => {
      for (;;) {
        const chosen = chooseNext(tray.receiver, tray.waiting, tray.sentUtcMs, clock.nowMs(), timeZone);
        if (!("send" in chosen) || this.#stop.signal.aborted) return;
        await clock.sleep(0.05, this.#stop.signal).catch(() => {}); // the tray's own turn sends it
      }
    });
    await Promise.race([Promise.all(last), clock.sleep(goodbyeSeconds)]);
    this.#stop.abort(new Error("the service ends"));
    await this.#work;
    this.#worksOnRig = false;
    this.#writeMarks();
    const closed = this.#trays.map(async ({ sender }) => sender.close?.().catch(() => {}));
    await Promise.race([clock.hold(Promise.all(closed)), clock.sleep(goodbyeSeconds)]);
  }
}
