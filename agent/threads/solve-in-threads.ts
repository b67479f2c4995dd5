import type { SecondThread, StartThread } from "../imaging/displaced/piece-work.ts";
import { type Line, sharePieces } from "./share-pieces.ts";
import type { Threads } from "./threads.ts";

/** A second thread for the solution of a flat from displaced frames. */
export function startDisplaced(threads: Threads): StartThread {
  return (values) => {
    const line = threads.startPieces("displaced", values);
    return line && sharingBy(line);
  };
}

export function sharingBy(line: Line): SecondThread {
  return {
    equip: (tools) => line.post({ tools }),
    share: (task, here) => sharePieces(line, task, here),
    [Symbol.dispose]: () => line[Symbol.dispose](),
  };
}
