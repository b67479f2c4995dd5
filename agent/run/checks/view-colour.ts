import type { Camera } from "../../../drivers/roles/camera.ts";
import { colourOfLine, colourPlace } from "../../../drivers/roles/colour-mosaic.ts";
import { viewPlane } from "../../../drivers/roles/plane-camera.ts";
import type { RigFile } from "../../../plans/rig-file.ts";

/**
 * The camera as the rig file wants it seen: behind a colour filter array the pixels that see the line, as a monochrome
 * camera of their own. One whose pattern nobody tells stays as it is, and so do its flats: refused.
 */
export function viewColour(camera: Camera, { devices, optics }: RigFile): Camera {
  const { colour = colourOfLine(optics.wavelengthNm), filterArray } = devices.camera;
  const pattern = filterArray ?? camera.limits.colourFilterArray;
  if (colour === "all" || pattern === undefined || !colourPlace(pattern, colour)) return camera;
  return viewPlane(camera, pattern, colour);
}
