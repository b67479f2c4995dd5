import { electronsPerCode, wordsPerCode, wordTable } from "../../scene/sensor/sensor-words.ts";
import type { World } from "../../scene/world.ts";
import type { MemberTable } from "../member-table.ts";

const sensorTypes = { monochrome: 0, rggb: 2 };
/** By how much RGGB is shifted on the sensor, to be the pattern. */
const bayerOffsets = { RGGB: [0, 0], GRBG: [1, 0], GBRG: [0, 1], BGGR: [1, 1] } as const;

/** What of a camera never changes, or only with its gain; and what this one does without. */
export function addSensor(members: MemberTable, world: World): void {
  const { camera } = world.spec;
  const words = wordTable(camera);
  members.constants({
    cameraxsize: camera.widthPx,
    cameraysize: camera.heightPx,
    pixelsizex: camera.pixelMicron,
    pixelsizey: camera.pixelMicron,
    sensortype: camera.mosaic ? sensorTypes.rggb : sensorTypes.monochrome,
    sensorname: "",
    maxadu: words.at(-1),
    maxbinx: camera.binningMax,
    maxbiny: camera.binningMax,
    canasymmetricbin: false,
    exposuremin: camera.exposureSecondsMin,
    exposuremax: camera.exposureSecondsMax,
    exposureresolution: 0,
    hasshutter: false,
    canabortexposure: true,
    canstopexposure: false,
    canpulseguide: false,
    canfastreadout: false,
  });
  if (camera.mosaic) {
    const [bayeroffsetx, bayeroffsety] = bayerOffsets[camera.mosaic.pattern];
    members.constants({ bayeroffsetx, bayeroffsety });
  } else members.lacks("bayeroffsetx", "bayeroffsety");
  members.lacks("ispulseguiding");
  members.lacksSetting("FastReadout", "boolean");
  members.lacksSetting("SubExposureDuration", "number");
  members.lacksWrite("pulseguide", { Direction: "int", Duration: "int" });
  const electronsPerAdu = () => electronsPerCode(camera, world.camera.settings.gain) / wordsPerCode(camera);
  members.reads("electronsperadu", electronsPerAdu);
  members.reads("fullwellcapacity", () =>
    Math.min(camera.fullWellElectrons, electronsPerAdu() * (words.at(-1) ?? 0)),
  );
}
