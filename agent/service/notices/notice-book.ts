import type { Database } from "bun:sqlite";
import * as z from "zod";
import { noticeKinds } from "../../../plans/notices-file.ts";
import type { Ledger } from "../../run/ledger/ledger.ts";
import type { Waiting } from "./choose-next.ts";
import type { NewNotice, Notice } from "./notice.ts";
import type { OpenConditions } from "./watch-conditions.ts";

/** Beside the ledger's own; a program that does not know them has no harm of it. */
const tables = `
  create table if not exists notices (
    id integer primary key autoincrement, rig text not null, utc_ms integer not null, kind text not null,
    phase text not null, text text not null, what_to_do text) strict;
  create table if not exists notice_posts (
    notice integer not null, receiver text not null, tries integer not null, not_before_utc_ms integer not null,
    done_utc_ms integer, sent integer not null, primary key (notice, receiver)) strict;
  create table if not exists notice_conditions (
    rig text not null, kind text not null, told text not null, primary key (rig, kind)) strict;
`;

const keptMs = 60 * 86_400_000;

const postRow = z.object({
  id: z.number(),
  rig: z.string(),
  utcMs: z.number(),
  kind: z.enum(noticeKinds),
  phase: z.enum(["begins", "ends", "happened"]),
  text: z.string(),
  whatToDo: z.string().nullable(),
  tries: z.number(),
  notBeforeUtcMs: z.number(),
});

/** What became of a notice on its way to one receiver. */
export interface PostMark {
  readonly noticeId: number;
  readonly receiver: string;
  readonly tries: number;
  readonly notBeforeUtcMs: number;
  /** When there was no more to do about it. */
  readonly doneUtcMs?: number;
  readonly sent: boolean;
}

/** The notices of one rig in the ledger, each with what became of it. Every method throws LedgerError. */
export class NoticeBook {
  constructor(
    readonly ledger: Ledger,
    readonly rig: string,
  ) {}

  /** Also forgets what was done with long ago. */
  open(nowUtcMs: number): OpenConditions {
    return this.ledger.write((database) => {
      database.run(tables);
      const long = "select id from notices where utc_ms < ?";
      database.query(`delete from notice_posts where notice in (${long})`).run(Math.round(nowUtcMs - keptMs));
      database.query("delete from notices where utc_ms < ?").run(Math.round(nowUtcMs - keptMs));
      const rows = database
        .query<{ kind: string; told: string }, [string]>(
          "select kind, told from notice_conditions where rig = ?",
        )
        .all(this.rig);
      return Object.fromEntries(rows.map(({ kind, told }) => [kind, told]));
    });
  }

  /** Writes new notices down for these receivers, with the conditions that are open from now on. */
  add(notices: readonly NewNotice[], receivers: readonly string[], open: OpenConditions): readonly Notice[] {
    return this.ledger.write((database) => {
      this.#setOpen(database, open);
      return notices.map((notice) => {
        const { utcMs, kind, phase, text, whatToDo } = notice;
        const { id } = database
          .query<{ id: number }, [string, number, string, string, string, string | null]>(
            "insert into notices (rig, utc_ms, kind, phase, text, what_to_do) values (?, ?, ?, ?, ?, ?) returning id",
          )
          .get(this.rig, Math.round(utcMs), kind, phase, text, whatToDo ?? null)!;
        const post = database.query("insert into notice_posts values (?, ?, 0, 0, null, 0)");
        for (const receiver of receivers) post.run(id, receiver);
        return { ...notice, id, rig: this.rig };
      });
    });
  }

  mark(marks: readonly PostMark[]): void {
    this.ledger.write((database) => {
      const change = database.query(
        "update notice_posts set tries = ?, not_before_utc_ms = ?, done_utc_ms = ?, sent = ? where notice = ? and receiver = ?",
      );
      for (const { noticeId, receiver, tries, notBeforeUtcMs, doneUtcMs, sent } of marks) {
        const done = doneUtcMs === undefined ? null : Math.round(doneUtcMs);
        change.run(tries, Math.round(notBeforeUtcMs), done, sent ? 1 : 0, noticeId, receiver);
      }
    });
  }

  /** What a receiver has not got yet, oldest first. */
  waiting(receiver: string): readonly Waiting[] {
    const rows = this.ledger.read((database) =>
      database
        .query<object, [string, string]>(
          `select id, rig, utc_ms as utcMs, kind, phase, text, what_to_do as whatToDo, tries,
             not_before_utc_ms as notBeforeUtcMs
           from notice_posts join notices on id = notice
           where rig = ? and receiver = ? and done_utc_ms is null order by id`,
        )
        .all(this.rig, receiver),
    );
    return rows.flatMap((row) => {
      const { success, data } = postRow.safeParse(row);
      if (!success) return [];
      const { tries, notBeforeUtcMs, whatToDo, ...notice } = data;
      return [{ notice: { ...notice, whatToDo: whatToDo ?? undefined }, tries, notBeforeUtcMs }];
    });
  }

  /** When a receiver got what it was sent since then. */
  sentUtcMs(receiver: string, sinceUtcMs: number): readonly number[] {
    return this.ledger
      .read((database) =>
        database
          .query<{ at: number }, [string, string, number]>(
            `select done_utc_ms as at from notice_posts join notices on id = notice
             where rig = ? and receiver = ? and sent = 1 and done_utc_ms >= ?`,
          )
          .all(this.rig, receiver, Math.round(sinceUtcMs)),
      )
      .map(({ at }) => at);
  }

  #setOpen(database: Database, open: OpenConditions): void {
    database.query("delete from notice_conditions where rig = ?").run(this.rig);
    const insert = database.query("insert into notice_conditions values (?, ?, ?)");
    for (const [kind, told] of Object.entries(open)) insert.run(this.rig, kind, told);
  }
}
