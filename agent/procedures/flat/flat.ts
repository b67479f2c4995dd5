import { coverFront } from "../../safing/cover-front.ts";
import { FlatChecker } from "../flat-in-use/flat-check.ts";
import { leaveRigIdle } from "../leave-rig.ts";
import { defineStep, runSubstep, type Step } from "../run-step.ts";
import type { StepWork } from "../step.ts";
import { pointAtSun } from "../sun-pointing.ts";
import { flatByDefocus } from "./by-defocus/by-defocus.ts";
import { flatByDiffuser } from "./by-diffuser/by-diffuser.ts";
import { flatByDrift } from "./by-drift/by-drift.ts";
import type { FlatBlur, FlatFound, FlatRequest } from "./flat-request.ts";

const stepsByBlur: Record<FlatBlur, Step<FlatRequest, FlatFound>> = {
  diffuser: flatByDiffuser,
  defocus: flatByDefocus,
  drift: flatByDrift,
};

interface FlatWork extends StepWork<FlatRequest, FlatFound> {
  /** One of an earlier run serves. */
  keptFits: boolean;
}

/** A flat: the Sun blurred away in exactly one way. */
export const flat = defineStep<FlatRequest, FlatFound, FlatWork>({
  begin: (input) => ({ ...input, keptFits: false }),
  first: "tryingKept",
  states: {
    tryingKept: {
      does: tryKept,
      next: [{ to: "done", when: ({ keptFits }) => keptFits }, { to: "taking" }],
    },
    taking: {
      does: async (work, signal) => {
        const { bench, request } = work;
        work.result = await runSubstep(stepsByBlur[request.blur], { bench, request }, signal);
      },
      next: "done",
    },
  },
  // A part has left the rig as asked.
  makeSafe: async ({ bench, request, result, keptFits }, _ended, signal) => {
    if (!result && request.unlessKeptFits)
      await leaveRigIdle(bench, keptFits ? request.coverAfter : "closed", signal);
  },
});

/** If asked to: looks through the diffuser whether a good flat of an earlier run fits, the rig pointed at the Sun. */
async function tryKept(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  if (!request.unlessKeptFits) return;
  const kept = (bench.keptFlats ?? []).filter(({ verdict }) => verdict === "good");
  if (bench.findings.flatInUse || kept.length === 0) return;
  await coverFront(bench, signal);
  await pointAtSun(bench, signal);
  const checker = new FlatChecker({ ...bench, keptFlats: kept });
  const seen = await checker.byDiffuser(request.unlessKeptFits.testFrames, signal);
  work.keptFits = seen?.says === "fits";
  const event = work.keptFits ? "a flat of an earlier run fits" : "no flat of an earlier run fits";
  bench.note(event, seen && { flat: seen.flat, says: seen.says, text: seen.text });
}
