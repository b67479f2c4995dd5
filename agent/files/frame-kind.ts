import type { FitsHeader } from "../../drivers/formats/fits-header.ts";
import { InputError } from "./input-error.ts";
import type { Labelled } from "./same-setting.ts";

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

/** Whether pixels lie behind a colour filter array. No standard has a keyword: BAYERPAT is what cameras' programs write. */
export function hasColourFilters(header: FitsHeader): boolean {
  const pattern = (header.text("BAYERPAT") ?? header.text("COLORTYP"))?.trim() ?? "";
  return /^[A-Z]{4}$/i.test(pattern) && pattern.toUpperCase() !== "MONO";
}

/** How many frames were averaged into it; 1 for a single one. */
export function combinedCount(header: FitsHeader): number {
  return header.number("NCOMBINE") ?? 1;
}

/** Many headers say nothing, or call all frames images: only what names the contrary is refused. @throws InputError */
export function checkIsDark(file: Labelled): void {
  if (statedKind(file.header) === "flat") throw wrongKind(file, "flat", "--dark wants a master dark");
}

function wrongKind({ path }: Labelled, kind: string, wanted: string): InputError {
  return new InputError(
    `${path} calls itself a ${kind}, and ${wanted}.`,
    "Name the right file; if this is the right one, correct its IMAGETYP (or FRAME, or OBSTYPE) first.",
  );
}
