import { readdirSync } from "node:fs";
import { join, relative } from "node:path";
import { expect, test } from "vitest";
import { codeOf, root } from "./imports.ts";

/** Names that have to be decoded, as whole identifiers or as the beginning of one. */
const banned: readonly RegExp[] = [
  /\bhands\b/,
  /\bpatience\b/,
  /\b(?:tell|told|says)[A-Z]\w*/,
  /\b\w+Told\b/,
  /\baside\(/,
  /\bisEven\(/,
  /\b(?:anew|simpler|explainedAnew|giveWay|handedOn|knownOfFlat|litFlat|writeAndTell|goesOn)\b/,
  /\b(?:CutShort|Eye|FramesBought|RunHands|DomeHands)\b/,
  /\bexport (?:async )?function (?:bare|begin|calibrate|copies|count|fill|finish|free|gains|gather|halved|halves|judge|merged|moved|overlap|point|refitted|sampled|scatter|settled|squares|trusted|usable|warn|weigh|without)\b/,
];

test("names are those of the trade or of programming: no word of a dialect", () => {
  const files = ["agent", "drivers", "plans", "sim-devices"].flatMap(
    (folder) =>
      readdirSync(join(root, folder), { recursive: true, withFileTypes: true })
        .filter((entry) => entry.isFile() && entry.name.endsWith(".ts"))
        .map((entry) => relative(root, join(entry.parentPath, entry.name)))
        .filter((file) => !file.startsWith("drivers/kit/kernels/src/")), // bare operations: scatter, gather
  );
  const found = files.flatMap((file) =>
    codeOf(file)
      .split("\n")
      .flatMap((line) => banned.flatMap((name) => name.exec(line)?.[0] ?? []))
      .map((name) => `${file}: ${name}`),
  );
  expect(found).toEqual([]);
});
