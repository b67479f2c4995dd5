import { existsSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import { FrameLogsOnDisk } from "../../../agent/open-files/frame-logs-on-disk.ts";

test("frames come back as they were put, whole or in part, and the scratch file goes in the end", () => {
  const folder = mkdtempSync(join(tmpdir(), "frame-logs-"));
  const path = join(folder, "m.fits.scratch");
  {
    using logs = new FrameLogsOnDisk(path, 100);
    for (const frame of [1, 0, 1])
      logs.put(
        frame,
        Int16Array.from({ length: 100 }, (_, i) => 1000 * frame + i),
      );
    expect([...logs.get(1, 10, 13)]).toEqual([1010, 1011, 1012]);
    expect(logs.get(0, 0, 100)[99]).toBe(99);
    expect(() => logs.get(2, 0, 100)).toThrow("shorter");
  }
  expect(existsSync(path)).toBe(false);
  rmSync(folder, { recursive: true });
});
