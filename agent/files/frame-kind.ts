import type { FitsHeader } from "../../drivers/formats/fits-header.ts";

export type FrameKind = "flat" | "dark" | "bias" | "image";

/** From IMAGETYP, in all the spellings that are met; `image` when it says nothing. */
export function frameKind(header: FitsHeader): FrameKind {
  return statedKind(header) ?? "image";
}

/** The same; `undefined` when the header says nothing. */
export function statedKind(header: FitsHeader): FrameKind | undefined {
  const stated = header.text("IMAGETYP") ?? header.text("FRAME") ?? header.text("OBSTYPE");
  if (stated === undefined || stated.trim() === "") return undefined;
  const text = stated.toLowerCase();
  if (text.includes("flat")) return "flat";
  if (text.includes("dark")) return "dark";
  if (text.includes("bias") || text.trim() === "zero") return "bias";
  return "image";
}

/** How many frames were averaged into it; 1 for a single one. */
export function combinedCount(header: FitsHeader): number {
  return header.number("NCOMBINE") ?? 1;
}
