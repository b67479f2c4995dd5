import * as z from "zod";
import { given } from "../../../drivers/kit/given.ts";
import type { PageFacts } from "../page/page-facts.ts";

/** How a rig stands, as it is shown on a broker: one JSON object, the latest kept. More may be added; what is named stays. */
export const rigState = z.looseObject({
  rig: z.string().max(100),
  /** When this was written. */
  utc: z.string().max(40),
  state: z.enum(["starting", "recovering", "standing by", "running", "held", "stopping"]),
  /** Why; a sentence without its full stop. */
  because: z.string().max(4000),
  sinceUtc: z.string().max(40),
  untilUtc: z.string().max(40).optional(),
  whatToDo: z.string().max(4000).optional(),
  /** What is not as it should be, while no person is needed yet. */
  trouble: z.string().max(4000).optional(),
  entry: z.string().max(100).optional(),
  progress: z.looseObject({ what: z.string().max(400), done: z.number(), of: z.number() }).optional(),
  /** Whether the last run left the cover proved to be closed; absent where nothing says. */
  covered: z.boolean().optional(),
  lastFlat: z.looseObject({ verdict: z.string().max(40), madeUtc: z.string().max(40) }).optional(),
  next: z.looseObject({ entry: z.string().max(100), dueUtc: z.string().max(40) }).optional(),
});
export type RigState = z.infer<typeof rigState>;

const utcOf = (utcMs: number) => new Date(utcMs).toISOString();

/** From what the page is made of. */
export function rigStateOf({ rig, nowUtcMs, status, records }: PageFacts): RigState {
  const { state, because, sinceUtcMs, untilUtcMs, whatToDo, trouble, entry, progress, rest } = status;
  const notSo = rest
    ?.filter(({ verdict }) => verdict === "not so")
    .map(({ what, text }) => `${what}: ${text}`);
  const wrong = trouble ?? (notSo && notSo.length > 0 ? notSo.join("; ") : undefined);
  const known = "trouble" in records ? undefined : records;
  const next = known?.next[0];
  return {
    rig,
    utc: utcOf(nowUtcMs),
    state,
    because: because.slice(0, 4000),
    sinceUtc: utcOf(sinceUtcMs),
    ...given({
      untilUtc: untilUtcMs === undefined ? undefined : utcOf(untilUtcMs),
      whatToDo: whatToDo?.slice(0, 4000),
      trouble: wrong?.slice(0, 4000),
      entry,
      progress: progress && { what: progress.what.slice(0, 400), done: progress.done, of: progress.of },
      // How the last run left it; while something is done with the rig nobody has proved anything.
      covered: state === "running" || state === "recovering" ? undefined : known?.left?.covered.proved,
      lastFlat: known?.lastFlat && {
        verdict: known.lastFlat.verdict,
        madeUtc: utcOf(known.lastFlat.madeUtcMs),
      },
      next: next && { entry: next.entry, dueUtc: utcOf(next.dueUtcMs) },
    }),
  };
}
