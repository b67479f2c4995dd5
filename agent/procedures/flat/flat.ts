import type { StepInput, Workbench } from "../step.ts";
import { StepError } from "../step-error.ts";
import { runPart, stepMachine } from "../step-machine.ts";
import { flatByDiffuser } from "./by-diffuser.ts";
import { flatByDrift } from "./by-drift.ts";
import type { FlatAsk, FlatBlur, FlatFound } from "./flat-ask.ts";

type TakeFlat = (input: StepInput<FlatAsk>, signal: AbortSignal) => Promise<FlatFound>;

/** Each way of blurring is a procedure of its own. */
const blurs: Record<FlatBlur, TakeFlat | undefined> = {
  diffuser: (input, signal) => runPart(flatByDiffuser, input, signal),
  defocus: undefined,
  drift: (input, signal) => runPart(flatByDrift, input, signal),
};

interface FlatWork {
  readonly bench: Workbench;
  readonly ask: FlatAsk;
  found: FlatFound | undefined;
}

/** A flat: the Sun blurred away in exactly one way. */
export const flat = stepMachine<FlatAsk, FlatWork, FlatFound>({
  id: "flat",
  begin: ({ bench, ask }) => ({ bench, ask, found: undefined }),
  first: "checking",
  states: {
    checking: { does: async ({ ask }) => void procedureFor(ask.blur), next: "taking" },
    taking: {
      does: async (work, signal) => {
        const { bench, ask } = work;
        work.found = await procedureFor(ask.blur)({ bench, ask }, signal);
      },
      next: "done",
    },
  },
  makeSafe: async () => {}, // the part has left the rig as asked
  found: (work) => work.found,
});

/** @throws StepError for a way that is not there; a plan that asks for one is refused before it begins */
function procedureFor(blur: FlatBlur): TakeFlat {
  const procedure = blurs[blur];
  if (procedure) return procedure;
  throw new StepError(
    "BLUR_NOT_POSSIBLE",
    `a flat by ${blur} is not yet possible in this version`,
    "Take the flat by `diffuser`.",
  );
}
