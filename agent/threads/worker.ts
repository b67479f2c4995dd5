import { parentPort, workerData } from "node:worker_threads";
import type { SharedTools, TaskContext } from "../imaging/displaced/task-tools.ts";
import type { StoredStack, TileMaker, TilePixels } from "../open-files/stored-stack.ts";
import type { AnyComputation, ComputationName } from "./compute-in-thread.ts";
import type { PieceMessage } from "./share-pieces.ts";
import type { WorkKind } from "./threads.ts";
import { makeTransferableCopy } from "./transferable-copy.ts";

type TilesMessage =
  | { readonly stack: StoredStack }
  | { readonly tileIndex: number; readonly into: TilePixels };

/**
 * All that a second thread may be given to do: each row loads what that needs, and says what becomes of a message.
 * What is returned goes back as the answer to it.
 */
const taskList = {
  /** Pieces of a flat's solution from displaced frames; without answers. */
  async displaced() {
    const { adoptTools } = await import("../imaging/displaced/task-tools.ts");
    const { loadFft } = await import("../imaging/numerics/fft-library.ts");
    const { openSharedLogs } = await import("../open-files/frame-logs-on-disk.ts");
    const { takePieces } = await import("./share-pieces.ts");
    const tools: TaskContext = { fft: await loadFft(), logs: {} };
    return (message: { readonly tools: SharedTools } | PieceMessage) =>
      "tools" in message ? adoptTools(tools, message.tools, openSharedLogs) : takePieces(tools, message);
  },
  /** Tiles of a master from files of counts: first the stack, then tile by tile into memory that is shared. */
  async tiles() {
    const { TileMaker } = await import("../open-files/stored-stack.ts");
    let maker: TileMaker | undefined;
    return (message: TilesMessage) => {
      if ("stack" in message) {
        maker = new TileMaker(message.stack);
        return { result: undefined };
      }
      return { result: maker!.makeInto(message.into, message.tileIndex) };
    };
  },
  /** A computation as a whole. */
  async computation() {
    const { computations } = await import("./compute-in-thread.ts");
    const { loadFft } = await import("../imaging/numerics/fft-library.ts");
    const fft = await loadFft();
    return ({ name, about }: { readonly name: ComputationName; readonly about: readonly unknown[] }) => ({
      result: (computations[name] as AnyComputation)(fft, ...about),
    });
  },
  /** Words to a terminal, pipe or file: here a write may take for ever. */
  async words() {
    const { writeWords } = await import("./write-words.ts");
    return ({ file, text }: { readonly file: number; readonly text: string }) => ({
      result: writeWords(file, text),
    });
  },
} satisfies Record<WorkKind, unknown>;

// What it throws comes out as the thread's error.
const serve = (await taskList[workerData as WorkKind]()) as (message: unknown) => object | undefined;
parentPort!.on("message", (message) => {
  const answer = serve(message);
  if (!answer) return;
  const copy = makeTransferableCopy(answer);
  parentPort!.postMessage(copy.message, copy.buffers);
});
