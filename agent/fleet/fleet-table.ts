import { oneLine } from "../../drivers/kit/plain-text.ts";
import { countStandings, type FleetRow } from "./fleet-rows.ts";

const reasonMost = 100;

/** A line for each rig, for a terminal: what rigs say of themselves steers nothing there. */
export function fleetTable(rows: readonly FleetRow[]): string {
  const cells = rows.map(({ rig, standing, because, whatToDo, flat, covered }) => {
    const reason = [because, whatToDo].filter((text) => text !== undefined).join("; ");
    const short = reason.length > reasonMost ? `${reason.slice(0, reasonMost - 1)}…` : reason;
    return [rig, standing, `flat ${flat?.verdict ?? "none"}`, `cover ${covered}`, short].map(oneLine);
  });
  const widths = [0, 1, 2, 3].map((column) => Math.max(0, ...cells.map((row) => row[column]!.length)));
  const lines = cells.map((row) =>
    row.map((cell, column) => (column < 4 ? cell.padEnd(widths[column]!) : cell)).join("  "),
  );
  return [`${countStandings(rows)}.`, ...lines].join("\n");
}
