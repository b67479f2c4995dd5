import { expect, test } from "vitest";
import { defineStep, runSubstep } from "../../../agent/procedures/run-step.ts";
import type { Workbench } from "../../../agent/procedures/step.ts";
import { StepError } from "../../../agent/procedures/step-error.ts";
import { newFront } from "../../../agent/safing/front.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";

type Does = (signal: AbortSignal) => Promise<void>;

/** A step that does one thing after another and keeps a list of what it did. */
function stepOf(work: Readonly<Record<string, Does>>, makeSafe: Does = async () => {}) {
  const done: string[] = [];
  const names = Object.keys(work);
  const states = names.map((name, index) => [
    name,
    {
      does: async (_: object, signal: AbortSignal) => {
        await work[name]!(signal);
        done.push(name);
      },
      next: names[index + 1] ?? "done",
    },
  ]);
  const step = defineStep<object, string[]>({
    begin: (input) => ({ ...input, result: done }),
    first: names[0]!,
    states: Object.fromEntries(states),
    makeSafe: async (_work, ended, signal) => {
      done.push(`safe: ${ended}`);
      await makeSafe(signal);
    },
  });
  return { step, done };
}

function inputOf(abandoned: AbortSignal = neverAborted) {
  return { bench: { abandoned, front: newFront() } as Workbench, request: {} };
}

const nothing: Does = async () => {};
const fails = (error: Error) => async () => {
  throw error;
};

test("states in their order, then safe; what it found comes with it", async () => {
  const { step, done } = stepOf({ first: nothing, second: nothing });
  expect(await step(inputOf(), neverAborted)).toEqual({ ended: "completed", found: done });
  expect(done).toEqual(["first", "second", "safe: completed"]);
});

test("why it is unsafe is told before anything is made safe: that may be cut off", async () => {
  const unsafe = new StepError("SUN_TOO_BRIGHT", "too bright", "Look at the filter.", "brightness");
  const { step, done } = stepOf({ looks: fails(unsafe) });
  const input = inputOf();
  const noteUnsafe = (failure: Error) => done.push(failure.message);
  await step({ ...input, bench: { ...input.bench, noteUnsafe } }, neverAborted);
  expect(done).toEqual(["too bright", "safe: unsafe"]);
});

test("a stop: the state in hand settles, no other begins, and making safe does not hear of it", async () => {
  const stop = new AbortController();
  let heard: boolean | undefined;
  const { step, done } = stepOf(
    { first: async () => stop.abort(new Error("rain")), second: nothing },
    async (signal) => {
      heard = signal.aborted;
    },
  );
  const { ended, failure } = await step(inputOf(), stop.signal);
  expect({ ended, failure: failure?.message, heard }).toEqual({
    ended: "stopped",
    failure: "rain",
    heard: false,
  });
  expect(done).toEqual(["first", "safe: stopped"]);
});

test("one that finds it unsafe to look says so, stopped or not", async () => {
  const unsafe = new StepError("FAR_TOO_BRIGHT", "far too bright", "Look at the filter.", "brightness");
  const { step } = stepOf({ first: fails(unsafe) });
  const input = inputOf();
  expect(await step(input, neverAborted)).toMatchObject({ ended: "unsafe", failure: unsafe });
  expect(input.bench.front.turnAway).toBe(true); // at once, and not after a cap has been waited for
});

test("what fails in making safe is the failure, unless there was one before", async () => {
  const stuck = new Error("stuck cover");
  const good = stepOf({ first: nothing }, fails(stuck));
  expect(await good.step(inputOf(), neverAborted)).toMatchObject({ ended: "failed", failure: stuck });
  const lost = new Error("lost camera");
  const bad = stepOf({ first: fails(lost) }, fails(stuck));
  expect(await bad.step(inputOf(), neverAborted)).toMatchObject({ ended: "failed", failure: lost });
});

test("one that was given up while it hung moves nothing when it settles at last", async () => {
  const [stop, given] = [new AbortController(), new AbortController()];
  const { promise, reject } = Promise.withResolvers<void>();
  const { step, done } = stepOf({ first: () => promise, second: nothing });
  const ending = step(inputOf(given.signal), stop.signal);
  stop.abort(new Error("the operator"));
  given.abort(new Error("did not settle"));
  reject(new Error("too late"));
  expect(await ending).toMatchObject({ ended: "stopped" });
  expect(done).toEqual([]);
});

test("a part gives what it found, and throws what it failed with or the reason of the stop", async () => {
  const { step, done } = stepOf({ first: nothing });
  expect(await runSubstep(step, inputOf(), neverAborted)).toBe(done);
  const lost = new Error("lost camera");
  await expect(runSubstep(stepOf({ first: fails(lost) }).step, inputOf(), neverAborted)).rejects.toBe(lost);
  const stop = new AbortController();
  const reason = new Error("rain");
  const stopping = stepOf({ first: async () => stop.abort(reason), second: nothing });
  await expect(runSubstep(stopping.step, inputOf(), stop.signal)).rejects.toBe(reason);
});
