import { FlatChecker } from "../flat-in-use/flat-check.ts";
import { leaveRigIdle } from "../leave-rig.ts";
import { defineStep, runSubstep, type Step } from "../run-step.ts";
import type { StepWork } from "../step.ts";
import { pointAtSun } from "../sun-pointing.ts";
import { flatByDefocus } from "./by-defocus/by-defocus.ts";
import { flatByDiffuser } from "./by-diffuser/by-diffuser.ts";
import { flatByDrift } from "./by-drift/by-drift.ts";
import type { FlatAsk, FlatBlur, FlatFound } from "./flat-ask.ts";

const stepsByBlur: Record<FlatBlur, Step<FlatAsk, FlatFound>> = {
  diffuser: flatByDiffuser,
  defocus: flatByDefocus,
  drift: flatByDrift,
};

interface FlatWork extends StepWork<FlatAsk, FlatFound> {
  /** One of an earlier run serves. */
  keptFits: boolean;
}

/** A flat: the Sun blurred away in exactly one way. */
export const flat = defineStep<FlatAsk, FlatFound, FlatWork>({
  begin: (input) => ({ ...input, keptFits: false }),
  first: "tryingKept",
  states: {
    tryingKept: {
      does: tryKept,
      next: [{ to: "done", when: ({ keptFits }) => keptFits }, { to: "taking" }],
    },
    taking: {
      does: async (work, signal) => {
        const { bench, ask } = work;
        work.result = await runSubstep(stepsByBlur[ask.blur], { bench, ask }, signal);
      },
      next: "done",
    },
  },
  // A part has left the rig as asked.
  makeSafe: async ({ bench, ask, result, keptFits }, _ended, signal) => {
    if (!result && ask.unlessKeptFits)
      await leaveRigIdle(bench, keptFits ? ask.coverAfter : "closed", signal);
  },
});

/** If asked to: looks through the diffuser whether a good flat of an earlier run fits, the rig pointed at the Sun. */
async function tryKept(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench, ask } = work;
  if (!ask.unlessKeptFits) return;
  const kept = (bench.keptFlats ?? []).filter(({ verdict }) => verdict === "good");
  if (bench.findings.flatInUse || kept.length === 0) return;
  await bench.rig.cover?.ensureClosed(signal);
  await pointAtSun(bench, signal);
  const checker = new FlatChecker({ ...bench, keptFlats: kept });
  const seen = await checker.byDiffuser(ask.unlessKeptFits.testFrames, signal);
  work.keptFits = seen?.says === "fits";
  const event = work.keptFits ? "a flat of an earlier run fits" : "no flat of an earlier run fits";
  bench.note(event, seen && { flat: seen.flat, says: seen.says, text: seen.text });
}
