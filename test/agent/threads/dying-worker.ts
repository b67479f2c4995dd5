import { parentPort } from "node:worker_threads";
import { Pieces } from "../../../agent/threads/pieces.ts";

/** A thread that takes a piece and ends without an error. */
parentPort!.on("message", (message: { readonly states?: Int32Array }) => {
  if (message.states === undefined) return;
  new Pieces(message.states).takeAsHelper();
  process.exit(0);
});
