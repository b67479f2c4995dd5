import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import type { FrameLogs } from "../../../agent/imaging/displaced/frame-logs.ts";
import {
  type DisplacedInput,
  type DisplacedSolution,
  solveDisplaced,
} from "../../../agent/imaging/displaced/solve-displaced.ts";
import { type MakeKernels, makeSweepKernels } from "../../../agent/imaging/displaced/sweep-kernels.ts";
import { solverTasks } from "../../../agent/imaging/displaced/tasks.ts";
import { loadFft } from "../../../agent/imaging/numerics/fft-library.ts";
import { FrameLogsOnDisk } from "../../../agent/open-files/frame-logs-on-disk.ts";
import {
  type Line,
  type PieceMessage,
  Pieces,
  sharingWith,
  takePieces,
} from "../../../agent/threads/share-pieces.ts";
import { type Thread, Threads } from "../../../agent/threads/threads.ts";
import { driftingFrames } from "../../bench/displaced-frames.ts";
import { patterns } from "../../campaign/displaced-scene/patterns.ts";
import { plainKernels } from "../../reference/sweep-kernels.ts";
import { attentive } from "./attentive.ts";

const fft = await loadFft();
const shape = { widthPx: 203, heightPx: 150 };
const { frames } = driftingFrames({ ...shape, shifts: patterns.spiral(12, 30), seed: 7 });

function startThread(program?: URL): Thread {
  return new Threads(() => {}, { valuesLeast: 0, ...(program && { program }) }).start("displaced", 0)!;
}

interface How {
  readonly line?: Line;
  readonly makeKernels?: MakeKernels;
  readonly logs?: FrameLogs;
  readonly readLevels?: DisplacedInput["readLevels"];
}

function begin({ line, makeKernels = makeSweepKernels, logs, readLevels }: How) {
  const read = (frameIndex: number, into: Float32Array) => into.set(frames[frameIndex]!);
  return solveDisplaced(
    { shape, frameCount: frames.length, readLevels: readLevels ?? read },
    { fft, makeKernels, ...(logs && { logs }), ...(line && { startThread: () => sharingWith(line) }) },
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
  const told: PieceMessage[] = [];
  const thread = attentive(startThread(), (task) => told.push(task));
  return { line: thread, told, ended: thread.ended };
}

/** On this thread, at once. */
function inPlace(hear: (task: PieceMessage) => void): Line & { isGone: boolean } {
  return {
    isGone: false,
    post: (message) => "task" in (message as object) && hear(message as PieceMessage),
    [Symbol.dispose]() {},
  };
}

test("a second thread with a part in every task: the same to the bit, and the thread is ended", async () => {
  const { line, told, ended } = startAttentive();
  expect(solve({ line })).toEqual(alone);
  expect(new Set(told.map(({ task }) => task))).toEqual(new Set(Object.keys(solverTasks)));
  await ended;
});

test("one that breaks at its first piece gives it back, and takes no other", () => {
  let broke = 0;
  const line = inPlace((task) => {
    if (line.isGone) return;
    expect(() => takePieces({ logs: {} }, task)).toThrow();
    broke++;
    expect(new Pieces(task.states).heldByOther).toBeUndefined();
    line.isGone = true;
  });
  expect(solve({ line })).toEqual(alone);
  expect(broke).toBe(1);
});

test("one that is gone while it holds a piece: this thread does it", () => {
  let held: number | undefined;
  const line = inPlace(({ states }) => {
    held ??= new Pieces(states).takeAsOther();
    line.isGone = true;
  });
  expect(solve({ line })).toEqual(alone);
  expect(held).toBe(frames.length - 1);
});

test("one that never starts is not waited for", async () => {
  const thread = startThread(new URL("./no-such-program.ts", import.meta.url));
  expect(solve({ line: thread })).toEqual(alone);
  await thread.ended;
});

test("where the kernels cannot be shared it finds the shifts and leaves the rest", async () => {
  const thread = startThread();
  expect(solve({ line: thread, makeKernels: plainKernels })).toEqual(solve({ makeKernels: plainKernels }));
  await thread.ended;
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
    for (const step of work) if (step.stage === stage && told.at(-1)!.task !== "addWeights") break;
    expect(told.length).toBeGreaterThan(0);
    expect(told.some(({ states }) => new Pieces(states).heldByOther !== undefined)).toBe(false);
    await ended;
  },
);

test("a frame that cannot be read ends the thread with the error", async () => {
  const thread = startThread();
  const readLevels = () => {
    throw new Error("no such file");
  };
  expect(() => begin({ line: thread, readLevels }).next()).toThrow("no such file");
  await thread.ended;
});

test("a piece that the other thread is at when told to stop is given back unfinished", () => {
  const pieces = Pieces.of(2);
  const piece = pieces.takeAsOther()!;
  expect(pieces.take()).toBe(0);
  pieces.stop();
  expect(pieces.heldByOther).toBe(piece);
  pieces.settle(piece, "free");
  expect(pieces.heldByOther).toBeUndefined();
  expect(pieces.takeAsOther()).toBeUndefined();
  expect(pieces.areDone).toBe(false);
});
