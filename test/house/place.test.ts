import { expect, test } from "vitest";
import { codeOf, sources } from "./imports.ts";

/** For developers, from source only. */
const fromSourceOnly = ["agent/commands/write-schema.ts", "drivers/kit/kernels/compile.ts"];

test("one file alone knows where the program's files are", () => {
  const byAddress = sources.filter((file) =>
    /import\.meta\.(url|dirname|filename|path|dir)\b/.test(codeOf(file)),
  );
  expect(byAddress.filter((file) => !fromSourceOnly.includes(file))).toEqual(["drivers/kit/place.ts"]);
});
