import { FlatChecker } from "../flat-in-use/flat-check.ts";
import { leaveRigIdle } from "../leave-rig.ts";
import { defineStep, runSubstep } from "../run-step.ts";
import type { StepInput, Workbench } from "../step.ts";
import { pointAtSun } from "../sun-pointing.ts";
import { flatByDefocus } from "./by-defocus/by-defocus.ts";
import { flatByDiffuser } from "./by-diffuser/by-diffuser.ts";
import { flatByDrift } from "./by-drift/by-drift.ts";
import type { FlatAsk, FlatBlur, FlatFound } from "./flat-ask.ts";

type TakeFlat = (input: StepInput<FlatAsk>, signal: AbortSignal) => Promise<FlatFound>;

/** Each way of blurring is a procedure of its own. */
const blurs: Record<FlatBlur, TakeFlat> = {
  diffuser: (input, signal) => runSubstep(flatByDiffuser, input, signal),
  defocus: (input, signal) => runSubstep(flatByDefocus, input, signal),
  drift: (input, signal) => runSubstep(flatByDrift, input, signal),
};

interface FlatWork {
  readonly bench: Workbench;
  readonly ask: FlatAsk;
  found: FlatFound | undefined;
  /** One of an earlier run serves. */
  keptFits: boolean;
}

/** A flat: the Sun blurred away in exactly one way. */
export const flat = defineStep<FlatAsk, FlatWork, FlatFound>({
  begin: ({ bench, ask }) => ({ bench, ask, found: undefined, keptFits: false }),
  first: "beginning",
  states: {
    beginning: {
      does: async () => {},
      next: [{ to: "tryingKept", when: ({ ask }) => ask.unlessKeptFits !== undefined }, { to: "taking" }],
    },
    tryingKept: {
      does: tryKept,
      next: [{ to: "done", when: ({ keptFits }) => keptFits }, { to: "taking" }],
    },
    taking: {
      does: async (work, signal) => {
        const { bench, ask } = work;
        work.found = await blurs[ask.blur]({ bench, ask }, signal);
      },
      next: "done",
    },
  },
  // A part has left the rig as asked.
  makeSafe: async ({ bench, ask, found, keptFits }, _ended, signal) => {
    if (!found && ask.unlessKeptFits) await leaveRigIdle(bench, keptFits ? ask.coverAfter : "closed", signal);
  },
  found: (work) => work.found,
});

/** Looks through the diffuser whether a good flat of an earlier run fits; the rig points at the Sun for that. */
async function tryKept(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench, ask } = work;
  const kept = (bench.keptFlats ?? []).filter(({ verdict }) => verdict === "good");
  if (bench.findings.flatInUse || kept.length === 0) return;
  await bench.rig.cover?.ensureClosed(signal);
  await pointAtSun(bench, signal);
  const checker = new FlatChecker({ ...bench, keptFlats: kept });
  const seen = await checker.byDiffuser(ask.unlessKeptFits!.testFrames, signal);
  work.keptFits = seen?.says === "fits";
  const event = work.keptFits ? "a flat of an earlier run fits" : "no flat of an earlier run fits";
  bench.note(event, seen && { flat: seen.flat, says: seen.says, text: seen.text });
}
