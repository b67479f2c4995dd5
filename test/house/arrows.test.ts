import { readdirSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { importsOf, root, sources, textOf } from "./imports.ts";

/** Where the program's own files are: imports nothing. */
const place = "drivers/kit/place.ts";

/** Compiled loops, and where they are. */
const kernels = ["drivers/kit/kernels", place];

/** Rooms of the numerics from low to high → those that each may import from. */
const imagingRooms: Record<string, readonly string[]> = {
  numerics: [],
  noise: ["numerics"],
  exposure: ["numerics"],
  registration: ["numerics"],
  combining: ["numerics", "noise"],
  disc: ["numerics", "combining"],
  match: ["numerics", "noise", "registration"],
  dust: ["numerics", "noise", "combining"],
  defocus: ["numerics", "combining", "disc", "dust"],
  displaced: ["numerics", "noise", "combining", "disc", "registration"],
  light: ["numerics", "disc", "dust", "displaced", "registration"],
  proof: ["numerics", "noise", "exposure", "combining", "registration", "disc", "dust", "light"],
};

const shared = ["kit", "formats", "roles"];
const protocols = readdirSync(join(root, "drivers"), { withFileTypes: true })
  .filter((entry) => entry.isDirectory() && !shared.includes(entry.name))
  .map(({ name }) => `drivers/${name}`);

/** What a protocol's rooms may see: never another protocol. */
const protocolRows = (protocol: string): Record<string, readonly string[]> => {
  const below = ["drivers/kit", "drivers/formats"];
  const session = [...below, "drivers/roles", `${protocol}/wire`];
  return {
    [`${protocol}/wire`]: below,
    [`${protocol}/session`]: session,
    [`${protocol}/roles`]: [...session, `${protocol}/session`],
    [protocol]: [...below, "drivers/roles", "drivers/protocol.ts"],
  };
};

/** Folder → the folders and files of ours that it may import from (itself always). The most specific row counts. */
const mayImport: Record<string, readonly string[]> = {
  "drivers/kit": [],
  "drivers/kit/kernels": [place],
  "drivers/formats": ["drivers/kit"],
  "drivers/roles": ["drivers/kit"],
  "agent/imaging": kernels,
  ...Object.fromEntries(
    Object.entries(imagingRooms).map(([room, below]) => [
      `agent/imaging/${room}`,
      [...below.map((lower) => `agent/imaging/${lower}`), ...kernels],
    ]),
  ),
  ...Object.assign({}, ...protocols.map(protocolRows)),
  drivers: ["drivers/kit", "drivers/roles", ...protocols.map((protocol) => `${protocol}/protocol.ts`)],
  "agent/sky": [],
  "agent/terminal": [],
  "agent/open-files": ["drivers/formats", "agent/imaging"],
  "agent/threads": ["drivers/kit", "agent/imaging", "agent/open-files"],
  "agent/masters": ["package.json", "drivers/formats", "drivers/kit", "agent/imaging"],
  "agent/safing": ["drivers/kit", "drivers/roles", "agent/imaging", "agent/sky"],
  "agent/procedures": [
    "agent/safing",
    "drivers/kit",
    "drivers/roles",
    "drivers/formats",
    "agent/imaging",
    "agent/threads",
    "agent/masters",
    "agent/sky",
  ],
  "agent/run/steps": [
    "drivers/kit",
    "drivers/roles",
    "plans",
    "agent/procedures",
    "agent/imaging",
    "agent/sky",
  ],
  "agent/run/record": [
    "drivers/kit",
    "drivers/roles",
    "plans",
    "agent/procedures",
    "agent/run/steps",
    "agent/safing",
  ],
  "agent/run/ledger": [
    "drivers/kit",
    "drivers/formats",
    "drivers/roles",
    "plans",
    "agent/procedures",
    "agent/imaging",
    "agent/run/record",
  ],
  "agent/run/guard": [
    "drivers/kit",
    "drivers/roles",
    "plans",
    "agent/procedures",
    "agent/safing",
    "agent/sky",
    "agent/run/record",
  ],
  "agent/run/restoring": [
    "drivers/kit",
    "drivers/roles",
    "plans",
    "agent/safing",
    "agent/sky",
    "agent/run/record",
    "agent/run/ledger",
    "agent/run/guard",
  ],
  "agent/run/checks": [
    "drivers",
    "plans",
    "agent/procedures",
    "agent/safing/caution.ts",
    "agent/sky",
    "agent/run/steps",
    "agent/run/record",
    "agent/run/guard",
  ],
  "agent/run/machine": ["drivers", "plans", "agent/procedures", "agent/safing", "agent/threads", "agent/run"],
  "agent/keeper": [
    "drivers",
    "plans",
    "agent/safing",
    "agent/run/checks/connect-rig-file.ts",
    "agent/run/guard/rig-keeper.ts",
  ],
  "agent/service/schedule": ["plans", "agent/sky", "agent/run/record"],
  "agent/service/page": [
    "drivers/kit",
    "agent/outputs/page-shell.ts",
    "agent/safing/caution.ts",
    "agent/outputs/safe-html.ts",
    "agent/outputs/terminal-progress.ts",
    "agent/run/ledger",
    "agent/service",
    "agent/sky",
  ],
  "agent/service/rest": [
    "drivers/kit",
    "drivers/roles",
    "plans",
    "agent/run/checks",
    "agent/safing/off-sun.ts",
  ],
  "agent/service": [
    "drivers/kit",
    "drivers/connect.ts",
    "plans",
    "agent/procedures",
    "agent/run",
    "agent/safing/caution.ts",
    "agent/sky",
  ],
  "agent/fleet": [
    "drivers/kit",
    "plans",
    "agent/outputs/page-shell.ts",
    "agent/safing/caution.ts",
    "agent/outputs/safe-html.ts",
    "agent/service/notices",
  ],
  "agent/drill": ["drivers/kit", "drivers/roles", "agent/run"],
  "agent/rehearsal": [
    "drivers",
    "plans",
    "sim-devices",
    "agent/keeper",
    "agent/procedures",
    "agent/run",
    "agent/safing",
    "agent/service",
  ],
  "agent/outputs": [
    "package.json",
    "drivers/kit",
    "drivers/formats",
    "drivers/roles",
    "agent/run",
    "agent/procedures",
    "agent/masters",
    "agent/files",
    "agent/imaging",
    "agent/safing/caution.ts",
    "agent/sky",
  ],
  "agent/files": ["drivers/formats", "agent/imaging", "agent/masters", "agent/open-files", "agent/threads"],
  "agent/executables": [place, "plans/example-files.ts"],
  "agent/commands": ["agent", "drivers", "plans", "package.json"],
  plans: [],
  "sim-devices": ["drivers/kit", "drivers/formats"],
};

/** The rehearsal starts the far side of the wire by itself; nothing else of the agent may see it. */
const mayStartScenes = [
  "rehearse",
  "rehearse-schedule",
  "rehearsed-rig",
  "rehearsed-scene",
  "rehearsed-sensor",
  "simulate",
  "scene-from-file",
  "write-schema",
].map((name) => `agent/commands/${name}.ts`);

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
      if (inside(imported, row) || mayImport[row]!.some((to) => imported === to || inside(imported, to)))
        continue;
      if (mayStartScenes.includes(file) && inside(imported, "sim-devices")) continue;
      against.push(`${file} → ${imported}`);
    }
  }
  expect(against).toEqual([]);
});

test("the cover is moved by the safing room alone", () => {
  const moves = /\b(cover|front)\b[?!]*\.(ensureOpen|ensureClosed)\(/;
  const elsewhere = sources.filter(
    (file) => inside(file, "agent") && !inside(file, "agent/safing") && moves.test(textOf(file)),
  );
  expect(elsewhere).toEqual([]);
  const opening = sources.filter(
    (file) => inside(file, "agent/safing") && /\bcover\b[?!]*\.ensureOpen\(/.test(textOf(file)),
  );
  expect(opening).toEqual(["agent/safing/uncover.ts"]);
});

test("no way to a flat knows of another", () => {
  const wayOf = (file: string) => /^agent\/procedures\/flat\/(by-[^/]+)/.exec(file)?.[1];
  const others = sources.flatMap((file) =>
    importsOf(file)
      .filter((imported) => wayOf(file) && wayOf(imported) && wayOf(imported) !== wayOf(file))
      .map((imported) => `${file} → ${imported}`),
  );
  expect(others).toEqual([]);
});

test("every room of the numerics has its row, and imports only from those above it", () => {
  const rooms = Object.keys(imagingRooms);
  const files = sources.filter((file) => inside(file, "agent/imaging"));
  expect(
    [...new Set(files.map((file) => file.split("/")[2]!))].filter((room) => !rooms.includes(room)),
  ).toEqual([]);
  for (const [row, room] of rooms.entries())
    expect(imagingRooms[room]!.filter((lower) => !rooms.slice(0, row).includes(lower))).toEqual([]);
});

test("numerics touch no files and start no threads; only what loads their code does", () => {
  const touching = sources.filter(
    (file) =>
      inside(file, "agent/imaging") && /from "node:(fs|worker_threads|child_process)/.test(textOf(file)),
  );
  expect(touching).toEqual(["agent/imaging/numerics/fft-library.ts"]);
});

test("undici is the real package, never the runtime's stub", () => {
  const stubbed = sources.filter((file) => /from "undici"/.test(textOf(file)));
  expect(stubbed).toEqual([]);
});

test("time, chance and real sleep come in as arguments", () => {
  const taken = sources
    // the page's script runs in a browser
    .filter((file) => !inside(file, "drivers/kit") && file !== "agent/service/page/page-script.ts")
    .filter((file) =>
      /\bDate\.now\(|\bMath\.random\(|\bsetTimeout\(|\bsetInterval\(|\bnew Date\(\)/.test(textOf(file)),
    );
  expect(taken).toEqual([]);
});
