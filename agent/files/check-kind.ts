import type { FitsHeader } from "../../drivers/formats/fits-header.ts";
import { statedKind } from "./frame-kind.ts";
import { InputError } from "./input-error.ts";

interface Labelled {
  readonly path: string;
  readonly header: FitsHeader;
}

/** Many headers say nothing, or call all frames images: only what names the contrary is refused. @throws InputError */
export function checkIsDark(file: Labelled): void {
  if (statedKind(file.header) === "flat") throw wrongKind(file, "flat", "--dark wants a master dark");
}

/** @throws InputError */
export function checkIsFlat(file: Labelled): void {
  const kind = statedKind(file.header);
  if (kind === "dark" || kind === "bias") throw wrongKind(file, kind, "--flat wants a master flat");
}

function wrongKind({ path }: Labelled, kind: string, wanted: string): InputError {
  return new InputError(
    `${path} calls itself a ${kind}, and ${wanted}.`,
    "Name the right file; if this is the right one, correct its IMAGETYP (or FRAME, or OBSTYPE) first.",
  );
}
