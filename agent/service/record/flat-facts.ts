import { listFlats } from "../../run/ledger/history.ts";
import type { Ledger } from "../../run/ledger/ledger.ts";
import type { FlatFacts } from "../schedule/conditions.ts";

/** What the ledger knows of a rig's flats. @param trainMark of the rig as it is now, where it was asked */
export function flatFactsOf(ledger: Ledger | undefined, rig: string, trainMark?: string): FlatFacts {
  const flats = ledger ? listFlats(ledger).filter((flat) => flat.rig === rig) : [];
  return { trainMark, flats };
}
