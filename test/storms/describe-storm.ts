import { Random } from "../../drivers/kit/random.ts";
import { drivenRoles } from "./draw-storm.ts";
import { kindOf } from "./fault-kinds.ts";
import type { Storm } from "./storm.ts";

/** A storm in a line. */
export function describeStorm(storm: Storm): string {
  const { plan, rig, found, faults, sinksAfterSeconds } = storm;
  const protocol =
    typeof rig.protocol === "string" ? rig.protocol : `indi, ${rig.protocol.join("+")} on alpaca`;
  const without = rig.without.length > 0 ? `, without ${rig.without.join(", ")}` : "";
  const byHand = rig.byHand.length > 0 ? `, ${rig.byHand.join(" and ")} by hand (${rig.person})` : "";
  const diffuser = found.diffuserIn ? ", diffuser in" : "";
  const dome = found.domeOpen ? "" : ", dome shut";
  const script = faults.map(({ kind, draw, when, forSeconds }) => {
    const { name } = kindOf(kind).draw(new Random(draw), drivenRoles(rig));
    const nth = when.nth === 1 ? "" : ` (${when.nth}.)`;
    const lasting = forSeconds === undefined ? "" : ` for ${forSeconds} s`;
    return `${name}${lasting}, ${when.afterSeconds} s after ${when.phase}${nth}`;
  });
  return [
    `plan ${plan}`,
    `${protocol}${without}${byHand}`,
    ...(sinksAfterSeconds === undefined ? [] : [`the Sun sinks after ${sinksAfterSeconds.toFixed(0)} s`]),
    `found ${found.pointing}, cover ${found.cover}${diffuser}${dome}`,
    script.join("; ") || "no fault",
  ].join(" | ");
}

/** How to play it again. */
export function replayLine(seed: number): string {
  return `npm run campaign storms -- --seed ${seed}`;
}
