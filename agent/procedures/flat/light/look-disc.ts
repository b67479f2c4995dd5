import type { Frame } from "../../../../drivers/roles/camera.ts";
import { findDisc } from "../../../imaging/disc/disc.ts";
import type { DiscPx } from "../../../imaging/displaced/sun-model.ts";
import { sunFromSite } from "../../../sky/sun-from-site.ts";
import type { Workbench } from "../../step.ts";
import type { TunedExposure } from "../../tune-exposure/tune-request.ts";

/** The radius on the frame is known to this. */
const radiusTolerance = 0.02;

/** As a frame of the plain Sun shows it; where no limb is in sight, as large as the ephemeris has it in the middle of the frame. */
export function discOfLook(
  bench: Workbench,
  { pixelsAdu, widthPx, heightPx }: Frame,
  { pedestalAdu, topAdu }: Pick<TunedExposure, "pedestalAdu" | "topAdu">,
): DiscPx {
  const { semidiameterArcsec } = sunFromSite(bench.clock.nowMs(), bench.site);
  const radiusPx = semidiameterArcsec / bench.findings.cameraOnSky!.arcsecPerPx;
  const sighting = findDisc(
    pixelsAdu,
    { widthPx, heightPx },
    {
      pedestalAdu,
      darkBelowAdu: 0.02 * topAdu,
      radius: { radiusPx, toleranceFraction: radiusTolerance },
      uniform: () => bench.random.uniform(),
    },
  );
  if (sighting.seen === "limb")
    return { x: sighting.disc.xPx, y: sighting.disc.yPx, radiusPx: sighting.disc.radiusPx };
  return { x: (widthPx - 1) / 2, y: (heightPx - 1) / 2, radiusPx };
}
