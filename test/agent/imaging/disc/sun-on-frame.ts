import { imageGeometry, sunCentrePx } from "../../../../sim-devices/scene/optics/image-geometry.ts";
import { ScenePainter } from "../../../../sim-devices/scene/painter.ts";
import { drawScene } from "../../../../sim-devices/scene/spec/draw-scene.ts";

/** A frame of a drawn scene with the Sun's centre at a chosen place, and the truth about it. */
export function sunOnFrame(options: {
  seed: number;
  /** Disc diameter over the frame's height. */
  discPerHeight: number;
  /** Of the disc's centre from the frame's, in disc radii. */
  offsetRadii: { x: number; y: number };
  /** Level of the disc's centre over full scale. */
  level?: number;
  coverOpenFraction?: number;
}) {
  const { seed, discPerHeight, offsetRadii, level = 0.6, coverOpenFraction = 1 } = options;
  const shape = { widthPx: 480, heightPx: 360 };
  const pixelMicron = 3.75;
  const semidiameterArcsec = 959.63;
  const radiusPx = (discPerHeight * shape.heightPx) / 2;
  const focalLengthMm =
    pixelMicron / 1000 / Math.tan((semidiameterArcsec / radiusPx / 3600) * (Math.PI / 180));
  const spec = drawScene(seed, {
    camera: { ...shape, pixelMicron },
    optics: { focalLengthMm, apertureMm: focalLengthMm / 8 },
  });
  const scale = semidiameterArcsec / radiusPx;
  // The painter wants the Sun on the sky: undo the camera's angle and parity.
  const at = { focusSteps: spec.focuser.bestSteps, wheelSlot: 1, rotatorDegrees: 0 };
  const light = (eastArcsec: number, northArcsec: number) => ({
    sunEastArcsec: eastArcsec,
    sunNorthArcsec: northArcsec,
    smearEastArcsec: 0,
    smearNorthArcsec: 0,
    sunAltitudeDegrees: 40,
    sunSemidiameterArcsec: semidiameterArcsec,
    sunPoleDegrees: 12,
    coverOpenFraction,
    diffuserInPlace: false,
    ...at,
    transparency: 1,
  });
  const g = imageGeometry(spec, light(0, 0));
  const shift = { x: -offsetRadii.x * radiusPx, y: -offsetRadii.y * radiusPx };
  const determinant = g.eastX * g.northY - g.northX * g.eastY;
  const east = (g.northY * shift.x - g.northX * shift.y) / determinant;
  const north = (g.eastX * shift.y - g.eastY * shift.x) / determinant;
  const seconds = (level * spec.camera.electronsPerCodeAtGain0 * 4095) / spec.sun.centreElectronsPerSecond;
  const pixelsAdu = new ScenePainter(spec).paint(light(east, north), {
    seconds,
    frameType: "light",
    gain: 0,
    offset: 50,
    binning: 1,
    region: { xPx: 0, yPx: 0, ...shape },
    sensorCelsius: 10,
    frameNumber: 1,
  });
  const centre = sunCentrePx(spec, g, { eastArcsec: east, northArcsec: north });
  return { pixelsAdu, shape, centre, radiusPx, arcsecPerPx: scale, pedestalAdu: 50 * 16 };
}
