import type { Card } from "../../drivers/formats/fits-card.ts";
import packageFile from "../../package.json";

/** Who wrote a file, in the observatories' common keyword. */
export const creatorCard: Card = {
  keyword: "CREATOR",
  value: `evenfield ${packageFile.version}`,
  comment: "program that wrote this file",
};

/** Whether a value of CREATOR, or of what older files of ours have instead, names us. */
export function isOurs(creator: unknown): boolean {
  return typeof creator === "string" && /^evenfield\b/.test(creator);
}
