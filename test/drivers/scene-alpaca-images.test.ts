import { expect, test } from "vitest";
import type { HttpExchange } from "../../drivers/kit/http-link.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import type { ElementType } from "../../sim-devices/alpaca/image.ts";
import { demoScene } from "../../sim-devices/scene/spec/demo-scene.ts";
import { overrideScene } from "../../sim-devices/scene/spec/override-scene.ts";
import { type Simulator, startSimulator } from "../../sim-devices/start-simulator.ts";
import { calm } from "./conformance/rig-under-test.ts";
import { alpacaEntries, onSceneRig } from "./scene-rig.ts";

/** A bright frame of a camera with 16-bit words, wider than high, so that a transposed or a signed one shows. */
const spec = overrideScene(demoScene, {
  camera: { widthPx: 96, heightPx: 40, words: "scaled" },
  rig: { hotSpot: { xPx: 20, yPx: 10, sigmaPx: 8, peak: 0.1 }, dust: [] },
  startsWith: {
    cover: "open",
    gain: 0,
    offset: 200,
    region: { xPx: 0, yPx: 0, widthPx: 96, heightPx: 40 },
  },
});

async function frameAsPaintedAndRead(
  prepare: (simulator: Simulator) => void,
  throughExchange: (exchange: HttpExchange) => HttpExchange = (exchange) => exchange,
) {
  const clock = new VirtualClock(Date.parse(spec.startUtc));
  await using simulator = await startSimulator({ spec, clock });
  prepare(simulator);
  let painted = new Uint16Array();
  simulator.painter.paint = (_, { region }) => {
    painted = Uint16Array.from(
      { length: region.widthPx * region.heightPx },
      (_, i) => (i * 7919 + 13) % 65536,
    );
    return painted;
  };
  const { world } = simulator;
  const exchanges = () => throughExchange(simulator.openAlpaca());
  const links = { clock, entries: alpacaEntries(), exchanges, world };
  const frame = await clock.drive(
    onSceneRig(links, ({ rig: { camera } }) =>
      camera.expose({ exposureSeconds: 0.1, frameType: "light" }, calm()),
    ),
  );
  return { painted, frame };
}

const types: readonly ElementType[] = ["smallest", 1, 2, 3, 4, 5, 7, 8, 9];
test.each(types)("element type %s: every pixel as the camera painted it", async (type) => {
  const { painted, frame } = await frameAsPaintedAndRead(({ alpacaServer }) => {
    alpacaServer.elementType = type;
  });
  expect([frame.widthPx, frame.heightPx]).toEqual([96, 40]);
  expect(Math.max(...painted)).toBeGreaterThan(32767);
  expect(frame.pixelsAdu).toEqual(painted);
});

test("a server that knows only JSON: every pixel as the camera painted it", async () => {
  const { painted, frame } = await frameAsPaintedAndRead(
    () => {},
    (exchange) => ({
      ...exchange,
      exchange: (request) => exchange.exchange({ ...request, accept: "application/json" }),
    }),
  );
  expect(frame.pixelsAdu).toEqual(painted);
});
