import { isScalar, parseDocument } from "yaml";
import { readRigFile } from "./rig-file.ts";

/**
 * A rig file's text with another `sunFilter.lastConfirmed`, and every other character as it was.
 * @param when a time in UTC, YYYY-MM-DDThh:mmZ
 * @throws FileProblemsError; Error when more than that would change
 */
export function confirmFilterInText(text: string, file: string, when: string): string {
  const before = readRigFile(text, file);
  const node = parseDocument(text).getIn(["sunFilter", "lastConfirmed"], true);
  if (!isScalar(node) || !node.range)
    throw new Error(`${file} has no \`sunFilter.lastConfirmed\` that can be written`);
  const [begin, end] = node.range;
  const changed = `${text.slice(0, begin)}${when}${text.slice(end)}`;
  const after = readRigFile(changed, file);
  const wanted = { ...before, sunFilter: { ...before.sunFilter, lastConfirmed: when } };
  if (JSON.stringify(after) !== JSON.stringify(wanted))
    throw new Error(`${file} can't be changed in that place alone`);
  return changed;
}
