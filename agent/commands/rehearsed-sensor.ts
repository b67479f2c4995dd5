import { colourOfLine } from "../../drivers/roles/colour-mosaic.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import { fitSceneToSensor } from "../../sim-devices/scene/spec/scale-scene.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";

type Sensor = NonNullable<RigFile["devices"]["camera"]["sensor"]>;
type Mosaic = NonNullable<SceneSpec["camera"]["mosaic"]>;

/** More are rehearsed as squares of pixels taken as one: a rehearsal is of the field, not of the computer. */
const pixelsMost = 1.4e6;
/** How much of a narrow line each dye passes but the one that is made for it; no rig file tells. */
const otherDyes = { red: 0.02, green: 0.06, blue: 0.02 };
const ownDye = 0.9;

/** The scene's camera with the sensor and the filter array that a rig file states; what lies on the sensor is stretched with it. */
export function fitSensor(
  spec: SceneSpec,
  { sensor, filterArray }: Pick<RigFile["devices"]["camera"], "sensor" | "filterArray">,
  wavelengthNm: number,
): { readonly spec: SceneSpec; readonly note?: string } {
  const fitted = sensor ? stretchScene(spec, sensor) : { spec };
  if (!filterArray) return fitted;
  const mosaic: Mosaic = { pattern: filterArray, ...otherDyes, [colourOfLine(wavelengthNm)]: ownDye };
  return { ...fitted, spec: { ...fitted.spec, camera: { ...fitted.spec.camera, mosaic } } };
}

function stretchScene(spec: SceneSpec, sensor: Sensor): { readonly spec: SceneSpec; readonly note?: string } {
  const side = Math.max(1, Math.ceil(Math.sqrt((sensor.widthPx * sensor.heightPx) / pixelsMost)));
  const [widthPx, heightPx] = [sensor.widthPx, sensor.heightPx].map(
    (px) => 2 * Math.floor(px / side / 2),
  ) as [number, number];
  const pixelMicron = sensor.pixelMicron * side;
  const fitted = fitSceneToSensor(spec, { widthPx, heightPx, pixelMicron });
  if (side === 1) return { spec: fitted };
  return {
    spec: fitted,
    note: `pixels: ${side} x ${side} of the sensor's are one, so that it takes minutes; the field is the sensor's`,
  };
}
