import { readdirSync, readFileSync } from "node:fs";
import { dirname, join, relative, resolve } from "node:path";
import { expect, test } from "vitest";

const root = resolve(import.meta.dirname, "../..");

/** Folder → the folders of ours that it may import from (itself always). The most specific row counts. */
const mayImport: Record<string, readonly string[]> = {
  "drivers/kit": [],
  "drivers/formats": ["drivers/kit"],
  "drivers/roles": ["drivers/kit"],
  "drivers/indi": ["drivers/kit", "drivers/formats", "drivers/roles"],
  "drivers/alpaca": ["drivers/kit", "drivers/formats", "drivers/roles"],
  drivers: ["drivers/kit", "drivers/roles", "drivers/indi", "drivers/alpaca"],
  "agent/imaging": [],
  "agent/sky": [],
  "agent/solving": ["agent/imaging"],
  "agent/masters": ["drivers/formats", "drivers/kit", "agent/imaging"],
  "agent/procedures": [
    "drivers/kit",
    "drivers/roles",
    "drivers/formats",
    "agent/imaging",
    "agent/masters",
    "agent/solving",
    "agent/sky",
  ],
  "agent/run": ["drivers", "plans", "agent/procedures", "agent/imaging", "agent/sky"],
  "agent/outputs": [
    "drivers/kit",
    "drivers/formats",
    "drivers/roles",
    "agent/run",
    "agent/procedures",
    "agent/masters",
    "agent/imaging",
    "agent/sky",
  ],
  "agent/files": ["drivers/formats", "agent/imaging", "agent/masters", "agent/solving"],
  "agent/commands": ["agent", "drivers", "plans"],
  "agent/service": ["agent", "drivers", "plans"],
  plans: [],
  "sim-devices": ["drivers/kit", "drivers/formats"],
};

/** The rehearsal starts the far side of the wire by itself; nothing else of the agent may see it. */
const mayStartScenes = ["rehearse", "simulate", "scene-from-file"].map((name) => `agent/commands/${name}.ts`);

function sourcesBelow(folder: string): string[] {
  return readdirSync(join(root, folder), { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile() && entry.name.endsWith(".ts"))
    .map((entry) => relative(root, join(entry.parentPath, entry.name)));
}

const sources = ["agent", "drivers", "plans", "sim-devices"].flatMap(sourcesBelow);

function importsOf(file: string): string[] {
  const text = readFileSync(join(root, file), "utf8");
  return [...text.matchAll(/(?:from|import\()\s*"(\.[^"]+)"/g)].map((match) =>
    relative(root, resolve(root, dirname(file), match[1]!)),
  );
}

function rowOf(file: string): string | undefined {
  return Object.keys(mayImport)
    .filter((folder) => file.startsWith(`${folder}/`))
    .sort((a, b) => b.length - a.length)[0];
}

const inside = (file: string, folder: string) => file.startsWith(`${folder}/`);

test("imports point one way through the house", () => {
  expect(sources.length).toBeGreaterThan(20);
  const against: string[] = [];
  for (const file of sources) {
    const row = rowOf(file);
    if (row === undefined) continue; // agent/main.ts wires everything
    for (const imported of importsOf(file)) {
      if (inside(imported, row) || mayImport[row]!.some((folder) => inside(imported, folder))) continue;
      if (mayStartScenes.includes(file) && inside(imported, "sim-devices")) continue;
      against.push(`${file} → ${imported}`);
    }
  }
  expect(against).toEqual([]);
});

test("numerics touch no files and start no threads; only what compiles and loads their code does", () => {
  const loaders = ["kernels/compile-all.ts", "kernels/compile-kernel.ts", "numerics/fft-library.ts"].map(
    (name) => `agent/imaging/${name}`,
  );
  const touching = sources.filter(
    (file) =>
      inside(file, "agent/imaging") &&
      /from "node:(fs|worker_threads|child_process)/.test(readFileSync(join(root, file), "utf8")),
  );
  expect(touching.toSorted()).toEqual(loaders);
});

test("undici is the real package, never the runtime's stub", () => {
  const stubbed = sources.filter((file) => /from "undici"/.test(readFileSync(join(root, file), "utf8")));
  expect(stubbed).toEqual([]);
});

test("time, chance and real sleep come in as arguments", () => {
  const taken = sources
    .filter((file) => !inside(file, "drivers/kit"))
    .filter((file) =>
      /\bDate\.now\(|\bMath\.random\(|\bsetTimeout\(|\bsetInterval\(|\bnew Date\(\)/.test(
        readFileSync(join(root, file), "utf8"),
      ),
    );
  expect(taken).toEqual([]);
});
