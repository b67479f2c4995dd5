import { type Setting, settingDifferences } from "../same-setting.ts";
import type { FileFacts } from "./file-facts.ts";

/** Frames of one kind and setting, which make one master or are calibrated alike. */
export interface FrameGroup {
  readonly files: readonly FileFacts[];
  readonly first: FileFacts;
}

/** Frames further apart than this are of another series: the train may have been touched. */
const seriesGapMs = 30 * 60_000;

/**
 * Frames that agree in size, colours and settings, in the order of time.
 * @param keywords settings that have to agree; one that only one of two headers states tells them apart
 * @param byTime a long pause begins another group
 */
export function groupFrames(
  files: readonly FileFacts[],
  keywords: readonly Setting[],
  { byTime }: { readonly byTime: boolean },
): FrameGroup[] {
  const groups: FileFacts[][] = [];
  const inOrder = files.toSorted((a, b) => (a.utcMs ?? 0) - (b.utcMs ?? 0) || (a.name < b.name ? -1 : 1));
  for (const file of inOrder) {
    const group = groups.find(
      (one) => agrees(file, one[0]!, keywords) && !(byTime && isLater(file, one.at(-1)!)),
    );
    if (group) group.push(file);
    else groups.push([file]);
  }
  return groups.map((group) => ({ files: group, first: group[0]! }));
}

/** Whether two files agree in size and in all those settings, none stated by one alone. */
export function agrees(a: FileFacts, b: FileFacts, keywords: readonly Setting[]): boolean {
  return (
    a.widthPx === b.widthPx &&
    a.heightPx === b.heightPx &&
    a.colourFilters === b.colourFilters &&
    keywords.every((keyword) => a.header.has(keyword) === b.header.has(keyword)) &&
    settingDifferences(a, b, keywords).length === 0
  );
}

function isLater(file: FileFacts, last: FileFacts): boolean {
  return file.utcMs !== undefined && last.utcMs !== undefined && file.utcMs - last.utcMs > seriesGapMs;
}
