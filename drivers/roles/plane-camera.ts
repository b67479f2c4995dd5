import { ReadbackError } from "../kit/errors.ts";
import type { Camera, CameraSetup, ExposureRequest, Frame, SetupInForce } from "./camera.ts";
import { checkSetup } from "./camera-setup.ts";
import { colourPlace, mosaicPitchPx, type PlaneColour, shiftMosaic, takePlane } from "./colour-mosaic.ts";
import type { Setting } from "./device.ts";

/**
 * A camera behind a colour filter array, seen as the monochrome camera that its pixels of one colour are: every second
 * column and row of the sensor, as if it were binned by two. Regions stay in pixels of the sensor; everything that is
 * not said here is the camera's own.
 * @param pattern of 2 x 2 pixels from the sensor's first, which has the colour
 */
export function viewPlane(camera: Camera, pattern: string, colour: PlaneColour): Camera {
  let region: SetupInForce["region"] | undefined;
  const asPlane = (setup: SetupInForce): SetupInForce => {
    ({ region } = setup);
    return { ...setup, binning: mosaicPitchPx };
  };
  let isPrepared = false;
  /** Colours are mixed in binned pixels. */
  const prepare = async (setup: CameraSetup, signal: AbortSignal) => {
    const { binning, ...others } = setup;
    const mustBin = !isPrepared || binning !== undefined;
    const inForce = await camera.configure({ ...others, ...(mustBin && { binning: 1 }) }, signal);
    isPrepared = true;
    return asPlane(inForce);
  };
  const own = {
    get limits(): Camera["limits"] {
      const binning = { min: mosaicPitchPx, max: mosaicPitchPx, step: 1 };
      return { ...camera.limits, binning, colourFilterArray: pattern, colour };
    },
    setup: async (signal: AbortSignal) => asPlane(await camera.setup(signal)),
    configure: async (setup: CameraSetup, signal: AbortSignal) => {
      checkSetup({ name: camera.name, limits: own.limits }, setup);
      return prepare(setup, signal);
    },
    expose: async (request: ExposureRequest, signal: AbortSignal): Promise<Frame> => {
      if (!isPrepared || !region) await prepare({}, signal);
      const frame = await camera.expose(request, signal);
      const here = shiftMosaic(pattern, region!.xPx, region!.yPx);
      if (request.frameType === "light" || request.frameType === "flat") checkColour(frame, here);
      const [widthPx, heightPx] = [frame.widthPx >> 1, frame.heightPx >> 1];
      const pixelsAdu = new Uint16Array(widthPx * heightPx);
      takePlane(frame.pixelsAdu, frame, colourPlace(here, colour)!, pixelsAdu);
      camera.giveBack(frame.pixelsAdu);
      return { ...frame, pixelsAdu, widthPx, heightPx };
    },
    giveBack: () => {}, // the whole frame's memory went back already
    restoreSetting: (setting: Setting, signal: AbortSignal) => {
      isPrepared = false;
      return camera.restoreSetting(setting, signal);
    },
    describe: () => ({ ...camera.describe(), colour: `the ${colour} pixels of ${pattern}` }),
  };
  /** Where the driver's pattern is not the sensor's, the light of a narrow line falls on other pixels. */
  const checkColour = (frame: Frame, here: string) => {
    const brightest = brightestPlace(frame, camera.limits.fullScaleAdu);
    if (brightest === undefined || here[brightest.place] === colour[0]!.toUpperCase()) return;
    const { x, y } = colourPlace(here, colour)!;
    if (brightest.aboveLowest[2 * y + x]! * 2 > brightest.aboveLowest[brightest.place]!) return;
    throw new ReadbackError(
      camera.name,
      "colour of the brightest pixels",
      `${colour}, by the pattern ${pattern}`,
      `another (the ${["first", "second"][brightest.place & 1]} column of the ${["first", "second"][brightest.place >> 1]} row): state the true pattern as \`filterArray\` in the rig file`,
    );
  };
  return new Proxy(camera, {
    get(target, key) {
      if (Object.hasOwn(own, key)) return Reflect.get(own, key) as unknown;
      const value: unknown = Reflect.get(target, key, target);
      return typeof value === "function" ? (value.bind(target) as unknown) : value;
    },
  });
}

/** Least difference between the means of two colours that is light and not noise, of the full scale. */
const litFraction = 0.02;

/** Means by the place in the pattern, over the lowest of the four; `undefined` where they differ by next to nothing. */
function brightestPlace({ pixelsAdu, widthPx, heightPx }: Frame, fullScaleAdu: number) {
  const sums = [0, 0, 0, 0];
  const every = 2 * Math.max(1, Math.ceil(Math.sqrt((widthPx * heightPx) / 40_000)));
  for (let y = 0; y + 1 < heightPx; y += every) {
    for (let x = 0; x + 1 < widthPx; x += every) {
      const i = y * widthPx + x;
      sums[0]! += pixelsAdu[i]!;
      sums[1]! += pixelsAdu[i + 1]!;
      sums[2]! += pixelsAdu[i + widthPx]!;
      sums[3]! += pixelsAdu[i + widthPx + 1]!;
    }
  }
  const blocks = Math.max(1, Math.ceil((heightPx - 1) / every) * Math.ceil((widthPx - 1) / every));
  const lowest = Math.min(...sums);
  const aboveLowest = sums.map((sum) => (sum - lowest) / blocks);
  const most = Math.max(...aboveLowest);
  return most < litFraction * fullScaleAdu ? undefined : { place: aboveLowest.indexOf(most), aboveLowest };
}
