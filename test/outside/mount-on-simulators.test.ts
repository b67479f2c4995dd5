import type { Mount } from "../../drivers/roles/mount.ts";
import { mountConformance } from "../drivers/conformance/mount.ts";
import { calm } from "../drivers/conformance/rig-under-test.ts";
import { stockAdapter } from "./stock-adapter.ts";

/** Near where the mount is and near the pole, where it begins and parks, so that slews are short; the simulator knows no horizon. */
async function nearby(mount: Mount) {
  const { pointing } = await mount.state(calm());
  return { raHours: (pointing.raHours + 0.5) % 24, decDegrees: pointing.decDegrees > 0 ? 60 : -60 };
}

mountConformance(stockAdapter("mount"), nearby);
