import type { RigState } from "../service/notices/rig-state.ts";

/** What a broker keeps of one rig. */
export interface RigOnBroker {
  readonly rig: string;
  /** `yes`, `stopped` or `lost`, as the service or its last will has it; absent where nothing was said. */
  readonly present?: string | undefined;
  readonly state?: RigState | undefined;
  /** Why the state can't be read. */
  readonly trouble?: string | undefined;
}

/** How a rig stands, those first that somebody has to see to. */
export const standings = [
  "needs a person",
  "silent",
  "in trouble",
  "not understood",
  "at work",
  "waiting",
  "stopped",
] as const;
export type Standing = (typeof standings)[number];

export interface FleetRow {
  readonly rig: string;
  readonly standing: Standing;
  /** A sentence without its full stop. */
  readonly because: string;
  readonly whatToDo?: string | undefined;
  /** Since when it stands so, by the rig's own clock; of a rig that is silent, when it last said anything. */
  readonly sinceUtc?: string | undefined;
  readonly covered: "proved" | "not proved" | "not known";
  readonly flat?: { readonly verdict: string; readonly madeUtc: string } | undefined;
  readonly next?: { readonly entry: string; readonly dueUtc: string } | undefined;
}

/** A row for each rig: by what is most urgent, then by name. */
export function fleetRows(rigs: Iterable<RigOnBroker>): readonly FleetRow[] {
  return [...rigs]
    .map(rowOf)
    .toSorted(
      (a, b) =>
        standings.indexOf(a.standing) - standings.indexOf(b.standing) ||
        (a.rig < b.rig ? -1 : a.rig > b.rig ? 1 : 0),
    );
}

function rowOf({ rig, present, state, trouble }: RigOnBroker): FleetRow {
  if (!state) {
    const because = trouble ?? "nothing says how it stands";
    return { rig, standing: present === "lost" ? "silent" : "not understood", because, covered: "not known" };
  }
  const { because, whatToDo, lastFlat: flat, next } = state;
  const covered = state.covered === undefined ? "not known" : state.covered ? "proved" : "not proved";
  const row = { rig, sinceUtc: state.sinceUtc, covered, flat, next } as const;
  if (present === "lost" || (present !== "yes" && present !== "stopped")) {
    const last = `its last word was: ${state.state}, ${because}`;
    const why = present === "lost" ? last : `nothing says that its service is there; ${last}`;
    // What held when it fell silent may have changed.
    return {
      ...row,
      standing: "silent",
      because: why,
      sinceUtc: state.utc,
      covered: "not known",
      next: undefined,
    };
  }
  if (present === "stopped") {
    const why =
      state.state === "held"
        ? `its service was ended while it was held: ${because}`
        : "its service was ended";
    return { ...row, standing: "stopped", because: why, sinceUtc: state.utc, next: undefined };
  }
  if (state.state === "held") return { ...row, standing: "needs a person", because, whatToDo };
  const { trouble: wrong } = state;
  if (wrong !== undefined)
    return {
      ...row,
      standing: "in trouble",
      because: because.includes(wrong) ? because : `${wrong}; ${because}`,
    };
  if (state.state === "standing by") return { ...row, standing: "waiting", because };
  const { progress } = state;
  const far = progress ? `: ${progress.what}, ${progress.done} of ${progress.of}` : "";
  return { ...row, standing: "at work", because: because + far };
}

/** How many stand in each way, in words; those of which there are none are left out. */
export function countStandings(rows: readonly FleetRow[]): string {
  const counts = standings.map((standing) => {
    return { standing, count: rows.filter((row) => row.standing === standing).length };
  });
  const named = counts.filter(({ count }) => count > 0).map(({ standing, count }) => `${standing} ${count}`);
  return `${rows.length} ${rows.length === 1 ? "rig" : "rigs"}: ${named.join(", ") || "none"}`;
}
