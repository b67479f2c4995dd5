import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { builtFolder, compileKernels } from "../../drivers/kit/kernels/compile.ts";

test("AssemblyScript makes of the kernels' sources, to the byte, what is shipped", async () => {
  const compiled = await compileKernels();
  expect([...compiled.keys()].sort()).toEqual(readdirSync(builtFolder).sort());
  for (const [file, content] of compiled)
    expect(Buffer.compare(readFileSync(join(builtFolder, file)), content), file).toBe(0);
});
