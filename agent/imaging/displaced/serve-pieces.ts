import type { HelperMessage } from "./piece-work.ts";
import { Pieces } from "./pieces.ts";
import { type LogsOf, type TaskTools, takeUp } from "./task-tools.ts";
import { type AnyTask, tasks } from "./tasks.ts";

/** @returns what a helper does with what it is told. After any trouble it does nothing more: the other thread does it all */
export function servePieces(tools: TaskTools, logsOf: LogsOf): (message: HelperMessage) => void {
  let isBroken = false;
  return (message) => {
    if (isBroken) return;
    try {
      if ("tools" in message) takeUp(tools, message.tools, logsOf);
      else takePieces(tools, message);
    } catch {
      isBroken = true;
    }
  };
}

function takePieces(
  tools: TaskTools,
  { task, about, states }: Extract<HelperMessage, { task: unknown }>,
): void {
  const pieces = new Pieces(states);
  for (;;) {
    const piece = pieces.takeAsHelper();
    if (piece === undefined) return;
    let isDone = false;
    try {
      isDone = doPiece(tools, tasks[task] as AnyTask, about, { pieces, piece });
    } finally {
      if (isDone) pieces.done(piece);
      else pieces.giveBack(piece);
    }
  }
}

/** @returns false if told to stop before its end */
function doPiece(
  tools: TaskTools,
  task: AnyTask,
  about: unknown,
  { pieces, piece }: { readonly pieces: Pieces; readonly piece: number },
): boolean {
  for (const _ of task(tools, about, piece)) if (pieces.isStopped) return false;
  return true;
}
