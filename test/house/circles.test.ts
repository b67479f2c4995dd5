import { expect, test } from "vitest";
import { importsOf, sources } from "./imports.ts";

/** To be undone; each row goes with its circle. */
const known = [
  "agent/files/apply/cube-result.ts agent/files/apply/sequence-result.ts agent/files/apply/ser-result.ts",
  "agent/run/checks/connect-rig-file.ts agent/run/machine/run-options.ts",
  "drivers/indi/session/device-connection.ts drivers/indi/session/device-session.ts",
];

test("no files import one another in a circle, types included", () => {
  const own = new Set(sources);
  const circles = circlesIn(sources, (file) => importsOf(file).filter((imported) => own.has(imported)));
  expect(
    circles.map((files) => files.toSorted().join(" ")).filter((files) => !known.includes(files)),
  ).toEqual([]);
});

test("a circle is found with what hangs on it left out", () => {
  const edges: Record<string, string[]> = {
    a: ["b"],
    b: ["c", "e"],
    c: ["d"],
    d: ["b"],
    e: [],
    f: ["f", "a"],
  };
  expect(circlesIn(Object.keys(edges), (node) => edges[node]!).map((files) => files.toSorted())).toEqual([
    ["b", "c", "d"],
  ]);
});

/**
 * Strongly connected components of more than one node.
 * Source: R. Tarjan, SIAM J. Computing 1 (1972) 146.
 */
function circlesIn(nodes: readonly string[], next: (node: string) => readonly string[]): string[][] {
  const order = new Map<string, number>();
  const lowest = new Map<string, number>();
  const open: string[] = [];
  const circles: string[][] = [];
  const visit = (node: string) => {
    order.set(node, order.size);
    let low = order.get(node)!;
    open.push(node);
    for (const to of next(node)) {
      if (!order.has(to)) visit(to);
      if (open.includes(to)) low = Math.min(low, lowest.get(to) ?? order.get(to)!);
    }
    lowest.set(node, low);
    if (low !== order.get(node)) return;
    const circle = open.splice(open.indexOf(node));
    if (circle.length > 1) circles.push(circle);
  };
  for (const node of nodes) if (!order.has(node)) visit(node);
  return circles;
}
