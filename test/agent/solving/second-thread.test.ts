import { once } from "node:events";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import { compiledKernels } from "../../../agent/imaging/displaced/compiled-kernels.ts";
import type { FrameLogs } from "../../../agent/imaging/displaced/frame-logs.ts";
import type { Helper, HelperMessage } from "../../../agent/imaging/displaced/piece-work.ts";
import { Pieces } from "../../../agent/imaging/displaced/pieces.ts";
import { plainKernels } from "../../../agent/imaging/displaced/plain-kernels.ts";
import { servePieces } from "../../../agent/imaging/displaced/serve-pieces.ts";
import {
  type DisplacedInput,
  type DisplacedSolution,
  solveDisplaced,
} from "../../../agent/imaging/displaced/solve-displaced.ts";
import type { MakeKernels } from "../../../agent/imaging/displaced/sweep-kernels.ts";
import { tasks } from "../../../agent/imaging/displaced/tasks.ts";
import { loadFft } from "../../../agent/imaging/numerics/fft-library.ts";
import { FrameLogsOnDisk, logsOf } from "../../../agent/solving/frame-logs-on-disk.ts";
import { helperOn } from "../../../agent/solving/second-thread.ts";
import { driftingFrames } from "../../bench/displaced-frames.ts";
import { patterns } from "../../campaign/displaced-scene/patterns.ts";
import { onlyAHangMs } from "../../only-a-hang.ts";

const fft = await loadFft();
const shape = { widthPx: 203, heightPx: 150 };
const { frames } = driftingFrames({ ...shape, shifts: patterns.spiral(12, 30), seed: 7 });
const program = new URL("../../../agent/solving/piece-worker.ts", import.meta.url);

/** Where `Pieces` counts what the helper has done or given back. */
const changeAt = 1;

interface How {
  readonly helper?: Helper;
  readonly makeKernels?: MakeKernels;
  readonly logs?: FrameLogs;
  readonly readLevels?: DisplacedInput["readLevels"];
}

function begin({ helper, makeKernels = compiledKernels, logs, readLevels }: How) {
  const read = (frameIndex: number, into: Float32Array) => into.set(frames[frameIndex]!);
  return solveDisplaced(
    { shape, frameCount: frames.length, readLevels: readLevels ?? read },
    { fft, makeKernels, ...(logs && { logs }), ...(helper && { startHelper: () => helper }) },
  );
}

function solve(how: How): DisplacedSolution {
  const work = begin(how);
  for (;;) {
    const step = work.next();
    if (step.done) return step.value;
  }
}

const alone = solve({});

type Task = Extract<HelperMessage, { task: unknown }>;

/** On a real thread. Before this one goes on with a task it waits for the helper's first piece, so that both have a part in it. */
function attentive() {
  const thread = helperOn(program)!;
  const told: Task[] = [];
  const helper: Helper = {
    get isGone() {
      return thread.isGone;
    },
    tell(message) {
      thread.tell(message);
      if (!("task" in message)) return;
      told.push(message);
      expect(Atomics.wait(message.states, changeAt, 0, onlyAHangMs)).not.toBe("timed-out");
    },
    [Symbol.dispose]: () => thread[Symbol.dispose](),
  };
  return { helper, told, ended: once(thread.worker, "exit") };
}

/** On this thread, at once. */
function inPlace(hear: (task: Task) => void): Helper {
  return { isGone: false, tell: (message) => "task" in message && hear(message), [Symbol.dispose]() {} };
}

test("a second thread with a part in every task: the same to the bit, and the thread is ended", async () => {
  const { helper, told, ended } = attentive();
  expect(solve({ helper })).toEqual(alone);
  expect(new Set(told.map(({ task }) => task))).toEqual(new Set(Object.keys(tasks)));
  await ended;
});

test("one that breaks at its first piece gives it back, and takes no other", () => {
  const serve = servePieces({ logs: {} }, logsOf);
  let changes = 0;
  const helper = inPlace((task) => {
    serve(task);
    changes += Atomics.load(task.states, changeAt);
  });
  expect(solve({ helper })).toEqual(alone);
  expect(changes).toBe(1);
});

test("one that is gone while it holds a piece: this thread does it", () => {
  let held: number | undefined;
  const helper = {
    ...inPlace(({ states }) => {
      held ??= new Pieces(states).takeAsHelper();
      helper.isGone = true;
    }),
    isGone: false,
  };
  expect(solve({ helper })).toEqual(alone);
  expect(held).toBe(frames.length - 1);
});

test("one that never starts is not waited for", async () => {
  const thread = helperOn(new URL("./no-such-program.ts", import.meta.url))!;
  const ended = once(thread.worker, "exit");
  expect(solve({ helper: thread })).toEqual(alone);
  await ended;
});

test("where the kernels cannot be shared it finds the shifts and leaves the rest", async () => {
  const thread = helperOn(program)!;
  const ended = once(thread.worker, "exit");
  expect(solve({ helper: thread, makeKernels: plainKernels })).toEqual(solve({ makeKernels: plainKernels }));
  await ended;
});

test("frames on disk: both threads read the scratch file", async () => {
  const folder = mkdtempSync(join(tmpdir(), "second-thread-"));
  const { helper, ended } = attentive();
  using logs = new FrameLogsOnDisk(join(folder, "scratch"), shape.widthPx * shape.heightPx);
  expect(solve({ helper, logs })).toEqual(alone);
  await ended;
  rmSync(folder, { recursive: true });
});

test.each(["registering", "solving"])(
  "given back while %s: no thread is left, and none at work",
  async (stage) => {
    const { helper, told, ended } = attentive();
    const work = begin({ helper });
    for (const step of work) if (step.stage === stage && told.at(-1)!.task !== "count") break;
    expect(told.length).toBeGreaterThan(0);
    expect(told.some(({ states }) => new Pieces(states).helperHasOne)).toBe(false);
    await ended;
  },
);

test("a frame that cannot be read ends the thread with the error", async () => {
  const thread = helperOn(program)!;
  const ended = once(thread.worker, "exit");
  const readLevels = () => {
    throw new Error("no such file");
  };
  expect(() => begin({ helper: thread, readLevels }).next()).toThrow("no such file");
  await ended;
});

test("a piece that a helper is at when told to stop is given back unfinished", () => {
  const pieces = Pieces.of(2);
  const piece = pieces.takeAsHelper()!;
  expect(pieces.take()).toBe(0);
  pieces.stop();
  expect(pieces.helperHasOne).toBe(true);
  pieces.giveBack(piece);
  expect(pieces.helperHasOne).toBe(false);
  expect(pieces.takeAsHelper()).toBeUndefined();
  expect(pieces.areDone).toBe(false);
});
