import type { FileFacts } from "./file-facts.ts";
import type { CalibrationPlan, PlannedImages } from "./plan-calibration.ts";

/** One of several fixed shares of the work, counted from 1. */
export interface Part {
  readonly number: number;
  readonly of: number;
}

/**
 * The images of one share: runs of the plan's order, of about as many bytes each, so that a share needs few masters. The shares
 * together are the whole, whoever works them out from the same folder.
 */
export function shareImages({ images }: CalibrationPlan, part: Part | undefined): readonly PlannedImages[] {
  if (part === undefined) return images;
  const total = images.reduce((sum, { files }) => sum + bytesOf(files), 0);
  let before = 0;
  return images.flatMap((group) => {
    const files = group.files.filter((file) => {
      const share = Math.min(part.of, 1 + Math.floor((part.of * before) / Math.max(1, total)));
      before += file.fileBytes;
      return share === part.number;
    });
    return files.length > 0 ? [{ ...group, files }] : [];
  });
}

function bytesOf(files: readonly FileFacts[]): number {
  return files.reduce((sum, { fileBytes }) => sum + fileBytes, 0);
}
