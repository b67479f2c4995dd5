import { closeSync, fsyncSync, mkdirSync, openSync, writeSync } from "node:fs";
import { join } from "node:path";
import type { Log } from "../../../drivers/kit/log.ts";
import type { TimelineEntry } from "./run-record.ts";

/**
 * `events.ndjson`: one JSON object a line, written as things happen, so that a killed run tells how far it came.
 * A full disk must not end a run that still has to be put back: what cannot be written is only logged.
 */
export class EventsFile implements Disposable {
  #file: number | undefined;

  constructor(
    folder: string,
    readonly log: Log,
  ) {
    mkdirSync(folder, { recursive: true });
    this.#file = openSync(join(folder, "events.ndjson"), "a");
  }

  write(entry: TimelineEntry): void {
    if (this.#file === undefined) return;
    const { utcMs, event, fields } = entry;
    try {
      writeSync(this.#file, `${JSON.stringify({ utc: new Date(utcMs).toISOString(), event, ...fields })}\n`);
    } catch (error) {
      this.log.warn({ event, error: String(error) }, "could not write events.ndjson");
    }
  }

  /** Onto the disk itself; before and after what matters. */
  sync(): void {
    if (this.#file === undefined) return;
    try {
      fsyncSync(this.#file);
    } catch (error) {
      this.log.warn({ error: String(error) }, "could not sync events.ndjson");
    }
  }

  [Symbol.dispose](): void {
    if (this.#file === undefined) return;
    this.sync();
    closeSync(this.#file);
    this.#file = undefined;
  }
}
