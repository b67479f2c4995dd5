import { makeTile } from "../open-files/shared-tiles.ts";
import { servePieces, type Task } from "./serve-pieces.ts";

export const serve = servePieces({ makeTile: makeTile as Task<object> }, {});
