import type { RoleName } from "../../../drivers/roles/roles.ts";
import type { Checker, Finding } from "./checker.ts";

/** How the rig must not be left: half open, with the diffuser in, exposing, or on the move. */
export const leftAtEnd: Checker = (_history, world) => {
  const atMs = world.clock.nowMs();
  const findings: Finding[] = [];
  const find = (role: RoleName, bad: boolean, what: string) => {
    if (bad) findings.push({ atMs, checker: "leftAtEnd", what, role });
  };
  const { cover, diffuser, camera, mount, dome } = world;
  find(
    "cover",
    cover.position > 0 && cover.position < 1,
    `cover left half way (${cover.position.toFixed(2)} open)`,
  );
  find("cover", cover.travelling, "cover left moving");
  find("diffuser", diffuser.position > 0 && diffuser.position < 1, "diffuser left half way");
  find(
    "diffuser",
    diffuser.position === 1 && !world.spec.startsWith.diffuserInPlace,
    "diffuser left in place",
  );
  find("camera", camera.phase !== "idle", "an exposure left running");
  find("mount", mount.phase !== "still" || mount.jogging, "mount left moving");
  find("dome", dome.shutter.position > 0 && dome.shutter.position < 1, "dome shutter left half way");
  return findings;
};
