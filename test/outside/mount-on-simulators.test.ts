import { beforeAll } from "vitest";
import type { Mount } from "../../drivers/roles/mount.ts";
import { mountConformance } from "../drivers/conformance/mount.ts";
import { calm } from "../drivers/conformance/rig-under-test.ts";
import { stockAdapter } from "./stock-adapter.ts";
import { until } from "./stock-server.ts";

const adapter = stockAdapter("mount");
let middleRaHours = 0;

/** The simulator parks half a minute from everywhere: here it does so among the places that it is sent to. */
beforeAll(async () => {
  const { setprop, getprop } = adapter.server();
  const name = "Telescope Simulator";
  const number = (element: string) => Number(getprop()[`${name}.${element}`]);
  setprop(`${name}.CONNECTION.CONNECT=On`);
  middleRaHours = ((await until("the mount", () => number("EQUATORIAL_EOD_COORD.RA"))) + 3) % 24;
  setprop(`${name}.EQUATORIAL_EOD_COORD.RA;DEC=${middleRaHours};30`);
  await until("its way", () => Math.abs(number("EQUATORIAL_EOD_COORD.DEC") - 30) < 0.001);
  setprop(`${name}.TELESCOPE_PARK_OPTION.PARK_CURRENT=On`);
  await until("the new park", () => Math.round(number("TELESCOPE_PARK_POSITION.PARK_DEC")) === 30);
  setprop(`${name}.TELESCOPE_PARK_OPTION.PARK_WRITE_DATA=On`); // for the next connections
  setprop(`${name}.CONNECTION.DISCONNECT=On`);
});

/** Some degrees from where it is: the simulator knows no horizon. */
async function nearby(mount: Mount) {
  const { pointing } = await mount.state(calm());
  return { raHours: (middleRaHours + 0.2) % 24, decDegrees: pointing.decDegrees > 30 ? 27 : 33 };
}

mountConformance(adapter, nearby);
