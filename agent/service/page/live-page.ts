import type { ServerResponse } from "node:http";
import type { Clock, ClockTimer } from "../../../drivers/kit/clock.ts";

interface Watcher {
  /** Which text it was sent last. */
  sent: number;
  quietMs: number;
  /** How long it has taken nothing of what was sent last. */
  stalledMs: number;
}

const waits = {
  /** Between two looks at whether the page has changed. */
  tickMs: 1000,
  /** Who hears nothing for so long can't know whether the page is old. */
  stillMs: 15_000,
  /** Who takes nothing for so long is not waited for. */
  stalledMs: 30_000,
};
/** Fewer than connections are, so that watchers never keep out who acts. */
export const watchersMost = 120;

/**
 * The page as it changes, sent as server-sent events to all who watch it. It is made once for all, and only while somebody watches.
 * Who is slow gets the next text only when the last was taken, so that nothing piles up for them.
 */
export class LivePage implements Disposable {
  readonly #watchers = new Map<ServerResponse, Watcher>();
  readonly #waits: typeof waits;
  #timer: ClockTimer | undefined;
  #text = "";
  #count = 0;

  /** @param render the page as HTML; `undefined` while there is none. It may throw: then nothing is sent */
  constructor(
    private readonly render: () => string | undefined,
    private readonly clock: Pick<Clock, "setTimer">,
    given: Partial<typeof waits> = {},
  ) {
    this.#waits = { ...waits, ...given };
  }

  get watcherCount(): number {
    return this.#watchers.size;
  }

  get isFull(): boolean {
    return this.#watchers.size >= watchersMost;
  }

  /** Sends to it from now on; its headers are sent already. */
  add(response: ServerResponse): void {
    this.#watchers.set(response, { sent: 0, quietMs: 0, stalledMs: 0 });
    const leave = () => this.#leave(response);
    response.on("close", leave);
    response.on("error", leave);
    response.write("retry: 5000\n\n");
    if (!this.#timer) this.#wait();
  }

  [Symbol.dispose](): void {
    for (const response of this.#watchers.keys()) {
      this.#leave(response);
      response.destroy();
    }
  }

  #leave(response: ServerResponse): void {
    this.#watchers.delete(response);
    if (this.#watchers.size > 0) return;
    this.#timer?.cancel();
    this.#timer = undefined;
  }

  #wait(): void {
    this.#timer = this.clock.setTimer(this.#waits.tickMs / 1000, () => {
      this.#timer = undefined;
      this.#tick();
      if (this.#watchers.size > 0) this.#wait();
    });
  }

  #tick(): void {
    this.#renew();
    const { tickMs, stillMs, stalledMs } = this.#waits;
    for (const [response, watcher] of this.#watchers) {
      watcher.quietMs += tickMs;
      if (response.writableLength > 0) {
        watcher.stalledMs += tickMs;
        if (watcher.stalledMs < stalledMs) continue;
        this.#leave(response);
        response.destroy();
        continue;
      }
      watcher.stalledMs = 0;
      if (this.#count > watcher.sent) response.write(this.#text);
      else if (watcher.quietMs >= stillMs) response.write("event: still\ndata: \n\n");
      else continue;
      watcher.sent = this.#count;
      watcher.quietMs = 0;
    }
  }

  #renew(): void {
    let html: string | undefined;
    try {
      html = this.render();
    } catch {
      return; // who asks for the page itself is told, and the log with it
    }
    if (html === undefined) return;
    const text = `data: ${JSON.stringify(html)}\n\n`;
    if (text === this.#text) return;
    this.#text = text;
    this.#count++;
  }
}
