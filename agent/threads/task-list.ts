/** All that a second thread may be given to do. A thread loads only its own kind of work. */
export const taskList = {
  /** Pieces of a flat's solution from displaced frames. */
  displaced: () => import("./serve-displaced.ts"),
  /** Tiles of a master from files of counts. */
  tiles: () => import("./serve-tiles.ts"),
  /** One computation as a whole. */
  computation: () => import("./serve-computation.ts"),
} as const;

export type WorkKind = keyof typeof taskList;
