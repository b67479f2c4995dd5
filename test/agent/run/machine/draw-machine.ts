import type { AnyStateMachine, AnyStateNode } from "xstate";

/** Draws a state machine, from the machine itself, as the text of a Mermaid state diagram. */
export function drawMachine(machine: AnyStateMachine): string {
  const arrows = collectArrows(machine.root);
  const lines = ["stateDiagram-v2"];
  drawChildren(machine.root, arrows, lines, "  ");
  return lines.join("\n");
}

interface Arrow {
  readonly from: AnyStateNode;
  readonly to: AnyStateNode;
  readonly labels: Set<string>;
}

/** By the state in which both ends lie, because Mermaid draws no arrow from inside one box into another. */
type Arrows = Map<AnyStateNode, Arrow[]>;

function collectArrows(root: AnyStateNode): Arrows {
  const arrows: Arrows = new Map();
  const add = (source: AnyStateNode, to: AnyStateNode, label: string) => {
    let from = source;
    while (from.parent && from.parent !== to.parent) from = from.parent;
    const level = to.parent!;
    const there = arrows.get(level) ?? [];
    const arrow = there.find((one) => one.from === from && one.to === to) ?? { from, to, labels: new Set() };
    if (label !== "") arrow.labels.add(label);
    arrows.set(level, [...there.filter((one) => one !== arrow), arrow]);
  };
  const visit = (node: AnyStateNode): void => {
    for (const { target, guard } of node.always ?? []) {
      for (const to of target ?? []) add(node, to, typeof guard === "string" ? guard : "");
    }
    for (const [event, transitions] of node.transitions) {
      for (const { target, guard } of transitions) {
        const condition = typeof guard === "string" ? ` [${guard}]` : "";
        for (const to of target ?? []) add(node, to, `${eventLabel(event)}${condition}`);
      }
    }
    Object.values(node.states).forEach(visit);
  };
  visit(root);
  return arrows;
}

function drawChildren(node: AnyStateNode, arrows: Arrows, lines: string[], indent: string): void {
  Object.values(node.states).forEach((child, index) => {
    if (node.type === "parallel" && index > 0) lines.push(`${indent}--`);
    if (Object.keys(child.states).length > 0) {
      lines.push(`${indent}state "${child.key}" as ${nameOf(child)} {`);
      drawChildren(child, arrows, lines, `${indent}  `);
      lines.push(`${indent}}`);
    } else if (nameOf(child) !== child.key) {
      lines.push(`${indent}state "${child.key}" as ${nameOf(child)}`);
    }
  });
  const initial = node.type === "parallel" ? undefined : node.initial.target[0];
  if (initial) lines.push(`${indent}[*] --> ${nameOf(initial)}`);
  for (const { from, to, labels } of arrows.get(node) ?? []) {
    const text = labels.size === 0 ? "" : `: ${[...labels].join(" or ")}`;
    lines.push(`${indent}${nameOf(from)} --> ${nameOf(to)}${text}`);
  }
  for (const child of Object.values(node.states)) {
    if (child.type === "final") lines.push(`${indent}${nameOf(child)} --> [*]`);
  }
}

function eventLabel(event: string): string {
  if (event.startsWith("xstate.done.")) return "done";
  if (event.startsWith("xstate.error.")) return "failed";
  if (event.startsWith("xstate.after.")) return `after ${event.split(".")[2]}`;
  return event;
}

/** Mermaid takes no hyphen in a name, and a state of the same key elsewhere in the machine is another state. */
function nameOf(node: AnyStateNode): string {
  const key = node.key.replaceAll("-", "_");
  return node.parent?.parent === undefined ? key : `${node.parent.key}_${key}`;
}
