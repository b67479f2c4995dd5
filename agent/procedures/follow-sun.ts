import { Aim, distanceArcsec, knownPointingOffset } from "./centre/aim.ts";
import type { Workbench } from "./step.ts";

/** So far a mount without a solar rate is let fall behind: less than two hundredths of the disc [arcsec]. */
const behindArcsecMax = 20;

/** Between exposures: moves a mount that can only follow the stars to where the Sun is by now. Others are left alone. */
export async function catchUpWithSun(bench: Workbench, signal: AbortSignal): Promise<void> {
  const { mount } = bench.rig;
  if (!mount || mount.abilities.solarRate) return;
  const aim = new Aim(mount, bench);
  const home = knownPointingOffset(bench);
  const reported = await aim.reported(signal);
  const behindArcsec = distanceArcsec(reported, home);
  if (behindArcsec < behindArcsecMax) return;
  const by = {
    eastArcsec: home.eastArcsec - reported.eastArcsec,
    northArcsec: home.northArcsec - reported.northArcsec,
  };
  await aim.moveBy(by, signal);
  bench.note("the mount was moved after the Sun", { behindArcsec: Math.round(behindArcsec) });
}
