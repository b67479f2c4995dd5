import { Pieces } from "./pieces.ts";

/** Does one piece, and pauses now and then. Pieces read what no other piece of the same task writes. */
export type Task<Tools> = (tools: Tools, about: unknown, piece: number) => Generator<void>;

/** What a thread is told, in this order: what it needs, and then tasks. */
export type PieceMessage =
  | { readonly tools: unknown }
  | { readonly task: string; readonly about: unknown; readonly states: Int32Array };

/** @returns what a thread does with what it is told. It throws after giving back its piece: the other thread does it all then */
export function servePieces<Tools>(
  tasks: Readonly<Record<string, Task<Tools>>>,
  tools: Tools,
  takeUp: (tools: Tools, more: unknown) => void = () => {},
): (message: PieceMessage) => void {
  return (message) => {
    if ("tools" in message) return takeUp(tools, message.tools);
    const pieces = new Pieces(message.states);
    const task = tasks[message.task]!;
    for (let piece = pieces.takeAsHelper(); piece !== undefined; piece = pieces.takeAsHelper()) {
      let isDone = false;
      try {
        isDone = isFinished(task(tools, message.about, piece), pieces);
      } finally {
        if (isDone) pieces.done(piece);
        else pieces.giveBack(piece);
      }
    }
  };
}

/** @returns false if told to stop before its end */
function isFinished(work: Generator<void>, pieces: Pieces): boolean {
  for (const _ of work) if (pieces.isStopped) return false;
  return true;
}
