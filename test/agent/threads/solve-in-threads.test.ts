import { once } from "node:events";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import { compiledKernels } from "../../../agent/imaging/displaced/compiled-kernels.ts";
import type { FrameLogs } from "../../../agent/imaging/displaced/frame-logs.ts";
import { plainKernels } from "../../../agent/imaging/displaced/plain-kernels.ts";
import {
  type DisplacedInput,
  type DisplacedSolution,
  solveDisplaced,
} from "../../../agent/imaging/displaced/solve-displaced.ts";
import type { MakeKernels } from "../../../agent/imaging/displaced/sweep-kernels.ts";
import { type TaskTools, takeUp } from "../../../agent/imaging/displaced/task-tools.ts";
import { tasks } from "../../../agent/imaging/displaced/tasks.ts";
import { loadFft } from "../../../agent/imaging/numerics/fft-library.ts";
import { FrameLogsOnDisk, logsOf } from "../../../agent/open-files/frame-logs-on-disk.ts";
import { Pieces } from "../../../agent/threads/pieces.ts";
import { type PieceMessage, servePieces, type Task } from "../../../agent/threads/serve-pieces.ts";
import type { Line } from "../../../agent/threads/share-pieces.ts";
import { sharingBy } from "../../../agent/threads/solve-in-threads.ts";
import { Threads } from "../../../agent/threads/threads.ts";
import { driftingFrames } from "../../bench/displaced-frames.ts";
import { patterns } from "../../campaign/displaced-scene/patterns.ts";
import { attentive, changeAt, type TaskMessage } from "./attentive.ts";

const fft = await loadFft();
const shape = { widthPx: 203, heightPx: 150 };
const { frames } = driftingFrames({ ...shape, shifts: patterns.spiral(12, 30), seed: 7 });

function startThread(program?: URL) {
  const thread = new Threads(() => {}, program && { program }).start("displaced")!;
  return { thread, ended: once(thread.worker, "exit") };
}

interface How {
  readonly line?: Line;
  readonly makeKernels?: MakeKernels;
  readonly logs?: FrameLogs;
  readonly readLevels?: DisplacedInput["readLevels"];
}

function begin({ line, makeKernels = compiledKernels, logs, readLevels }: How) {
  const read = (frameIndex: number, into: Float32Array) => into.set(frames[frameIndex]!);
  return solveDisplaced(
    { shape, frameCount: frames.length, readLevels: readLevels ?? read },
    { fft, makeKernels, ...(logs && { logs }), ...(line && { startThread: () => sharingBy(line) }) },
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

/** On a real thread that has a part in every task. */
function startAttentive() {
  const { thread, ended } = startThread();
  const told: TaskMessage[] = [];
  return { line: attentive(thread, "done", (task) => told.push(task)), told, ended };
}

/** On this thread, at once. */
function inPlace(hear: (task: TaskMessage) => void): Line {
  return {
    isGone: false,
    post: (message) => "task" in (message as object) && hear(message as TaskMessage),
    [Symbol.dispose]() {},
  };
}

test("a second thread with a part in every task: the same to the bit, and the thread is ended", async () => {
  const { line, told, ended } = startAttentive();
  expect(solve({ line })).toEqual(alone);
  expect(new Set(told.map(({ task }) => task))).toEqual(new Set(Object.keys(tasks)));
  await ended;
});

test("one that breaks at its first piece gives it back, and takes no other", () => {
  const serve = servePieces(tasks as Record<string, Task<TaskTools>>, { logs: {} }, (tools, more) =>
    takeUp(tools, more as object, logsOf),
  );
  let changes = 0;
  const line = {
    ...inPlace((task) => {
      if (line.isGone) return;
      expect(() => serve(task as PieceMessage)).toThrow();
      changes += Atomics.load(task.states, changeAt);
      line.isGone = true;
    }),
    isGone: false,
  };
  expect(solve({ line })).toEqual(alone);
  expect(changes).toBe(1);
});

test("one that is gone while it holds a piece: this thread does it", () => {
  let held: number | undefined;
  const line = {
    ...inPlace(({ states }) => {
      held ??= new Pieces(states).takeAsHelper();
      line.isGone = true;
    }),
    isGone: false,
  };
  expect(solve({ line })).toEqual(alone);
  expect(held).toBe(0);
});

test("one that never starts is not waited for", async () => {
  const { thread, ended } = startThread(new URL("./no-such-program.ts", import.meta.url));
  expect(solve({ line: thread })).toEqual(alone);
  await ended;
});

test("where the kernels cannot be shared it finds the shifts and leaves the rest", async () => {
  const { thread, ended } = startThread();
  expect(solve({ line: thread, makeKernels: plainKernels })).toEqual(solve({ makeKernels: plainKernels }));
  await ended;
});

test("frames on disk: both threads read the scratch file", async () => {
  const folder = mkdtempSync(join(tmpdir(), "second-thread-"));
  const { line, ended } = startAttentive();
  using logs = new FrameLogsOnDisk(join(folder, "scratch"), shape.widthPx * shape.heightPx);
  expect(solve({ line, logs })).toEqual(alone);
  await ended;
  rmSync(folder, { recursive: true });
});

test.each(["registering", "solving"])(
  "given back while %s: no thread is left, and none at work",
  async (stage) => {
    const { line, told, ended } = startAttentive();
    const work = begin({ line });
    for (const step of work) if (step.stage === stage && told.at(-1)!.task !== "count") break;
    expect(told.length).toBeGreaterThan(0);
    expect(told.some(({ states }) => new Pieces(states).helperHasOne)).toBe(false);
    await ended;
  },
);

test("a frame that cannot be read ends the thread with the error", async () => {
  const { thread, ended } = startThread();
  const readLevels = () => {
    throw new Error("no such file");
  };
  expect(() => begin({ line: thread, readLevels }).next()).toThrow("no such file");
  await ended;
});

test("a piece that the other thread is at when told to stop is given back unfinished", () => {
  const pieces = Pieces.of(2);
  const piece = pieces.takeAsHelper()!;
  expect(pieces.take()).toBe(1);
  pieces.stop();
  expect(pieces.helperHasOne).toBe(true);
  pieces.giveBack(piece);
  expect(pieces.helperHasOne).toBe(false);
  expect(pieces.takeAsHelper()).toBeUndefined();
  expect(pieces.areDone).toBe(false);
});

test("what was given back is taken again, once", () => {
  const pieces = Pieces.of(3);
  const [first, second] = [pieces.takeAsHelper()!, pieces.takeAsHelper()!];
  expect(pieces.take()).toBe(2);
  pieces.done(2);
  expect(pieces.take()).toBeUndefined();
  pieces.giveBack(second);
  expect(pieces.take()).toBe(second);
  pieces.giveBackHelpers();
  expect(pieces.take()).toBe(first);
  for (const piece of [first, second, second]) pieces.done(piece);
  expect(pieces.areDone).toBe(true);
});
