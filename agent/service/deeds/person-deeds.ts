import { digestOf } from "../../run/ledger/baseline-entries.ts";
import type { Ledger } from "../../run/ledger/ledger.ts";

/** What a person may do about a service. */
export const deedNames = ["stop", "hold", "go-on", "filter-inspected"] as const;
export type DeedName = (typeof deedNames)[number];

export interface PersonDeed {
  readonly utcMs: number;
  readonly deed: DeedName;
  readonly who: string;
}

const table = `create table if not exists person_deeds (
  rig text not null, utc_ms integer not null, deed text not null, who text not null, seal text not null) strict`;

export function savePersonDeed(ledger: Ledger, rig: string, { utcMs, deed, who }: PersonDeed): void {
  const values = [rig, Math.round(utcMs), deed, who] as const;
  ledger.write((database) => {
    database.run(table);
    database.query("insert into person_deeds values (?, ?, ?, ?, ?)").run(...values, digestOf(values));
  });
}

/** Newest first. One that is not as it was written is left out, unless it may be what holds the rig. */
export function listPersonDeeds(ledger: Ledger, rig: string): readonly PersonDeed[] {
  const rows = ledger.read((database) => {
    const there = database.query<{ n: number }, []>(
      "select count(*) as n from sqlite_schema where name = 'person_deeds'",
    );
    if (there.get()!.n === 0) return [];
    return database
      .query<PersonDeed & { readonly seal: string }, [string]>(
        "select utc_ms as utcMs, deed, who, seal from person_deeds where rig = ? order by rowid desc limit 200",
      )
      .all(rig);
  });
  return rows
    .filter(({ seal, utcMs, deed, who }) => deed !== "go-on" || seal === digestOf([rig, utcMs, deed, who]))
    .map(({ utcMs, deed, who }) => ({ utcMs, deed, who }));
}

/** What a person said last about whether anything may begin; `undefined` when it may. */
export function findPersonsHold(newestFirst: readonly PersonDeed[]): PersonDeed | undefined {
  const last = newestFirst.find(({ deed }) => deed !== "filter-inspected");
  return last?.deed === "go-on" ? undefined : last;
}
