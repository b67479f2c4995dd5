import { closeSync, fsyncSync, mkdirSync, openSync, writeSync } from "node:fs";
import { join } from "node:path";
import type { Clock } from "../../../drivers/kit/clock.ts";
import { given } from "../../../drivers/kit/given.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import type { TimelineEntry } from "./run-record.ts";

/**
 * The dated lines of a run: in memory for its record, and in `events.ndjson`, one JSON object a line, written as things
 * happen, so that a killed run tells how far it came. A full disk must not end a run that still has to be put back: what
 * cannot be written is only logged.
 */
export class Journal implements Disposable {
  readonly timeline: TimelineEntry[] = [];
  readonly #folder: string;
  #file: number | undefined;

  constructor(
    folder: string,
    readonly clock: Clock,
    readonly log: Log,
  ) {
    this.#folder = folder;
    mkdirSync(folder, { recursive: true });
    this.#file = openSync(join(folder, "events.ndjson"), "a");
  }

  note(event: string, fields?: Readonly<Record<string, unknown>>): void {
    const utcMs = this.clock.nowMs();
    this.timeline.push({ utcMs, event, ...given({ fields }) });
    const line = JSON.stringify({ utc: new Date(utcMs).toISOString(), event, ...fields });
    this.#try((file) => writeSync(file, `${line}\n`), "could not write events.ndjson");
    this.log.info({ ...fields }, event);
  }

  /** As `note`, and onto the disk before it returns. */
  noteSurely(event: string, fields?: Readonly<Record<string, unknown>>): void {
    this.note(event, fields);
    this.#try(fsyncSync, "could not sync events.ndjson");
  }

  /** One JSON object as a line at the end of another file of the run's folder, on the disk before it returns. As hope too. */
  appendSurely(name: string, line: object): void {
    try {
      const file = openSync(join(this.#folder, name), "a");
      try {
        writeSync(file, `${JSON.stringify(line)}\n`);
        fsyncSync(file);
      } finally {
        closeSync(file);
      }
    } catch (error) {
      this.log.warn({ error: String(error) }, `could not write ${name}`);
    }
  }

  #try(work: (file: number) => unknown, failed: string): void {
    if (this.#file === undefined) return;
    try {
      work(this.#file);
    } catch (error) {
      this.log.warn({ error: String(error) }, failed);
    }
  }

  [Symbol.dispose](): void {
    this.#try(fsyncSync, "could not sync events.ndjson");
    this.#try(closeSync, "could not close events.ndjson");
    this.#file = undefined;
  }
}
