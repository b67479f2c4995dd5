import { spawn } from "node:child_process";
import { join } from "node:path";
import { describe, expect, test } from "vitest";
import { imageKeepingMemory } from "../../../agent/commands/keep-freed-memory.ts";

const main = join(import.meta.dirname, "../../../agent/main.ts");
const begun = {
  argv: ["bun", main, "inspect", "a.fits"],
  execArgv: ["--smol"],
  execPath: "/opt/bun",
  env: { A: "1" },
};

describe("a process that keeps freed memory", () => {
  test("is this one with its own arguments and one more variable", () => {
    expect(imageKeepingMemory(begun, 8e9)).toEqual({
      executable: "/opt/bun",
      args: ["/opt/bun", "--smol", main, "inspect", "a.fits"],
      environment: { A: "1", MIMALLOC_PURGE_DELAY: "-1" },
    });
  });

  test("of a single-file executable, names no script", () => {
    const single = { ...begun, argv: ["bun", "/$bunfs/root/evenfield", "inspect"], execArgv: [] };
    expect(imageKeepingMemory(single, 8e9)?.args).toEqual(["/opt/bun", "inspect"]);
  });

  test("is not begun where a person said otherwise, nor on a small computer", () => {
    expect(imageKeepingMemory({ ...begun, env: { MIMALLOC_PURGE_DELAY: "10" } }, 8e9)).toBeUndefined();
    expect(imageKeepingMemory(begun, 1e9)).toBeUndefined();
  });

  test("has the same input, output and exit code", async () => {
    const { MIMALLOC_PURGE_DELAY: _, ...env } = process.env;
    const args = [main, "combine", "--json", "/nowhere/ä b.fits", "-o", "/nowhere/out.fits"];
    const child = spawn(process.execPath, args, { env });
    const output: string[] = [];
    child.stdout.on("data", (bytes) => output.push(String(bytes)));
    const code = await new Promise((end) => child.on("close", end));
    expect(code).toBe(2);
    expect(JSON.parse(output.join("")).command).toBe("combine");
    expect(output.join("")).toContain("ä b.fits");
  });
});
