import type { RigKeeper } from "../../../agent/run/guard/rig-keeper.ts";

/** For tests and campaigns that are not about keepers: it is always there and never acts. */
export const presentKeeper: RigKeeper = {
  name: "the keeper",
  begin: async () => {},
  whyNotAlive: () => undefined,
  release: async () => {},
};
