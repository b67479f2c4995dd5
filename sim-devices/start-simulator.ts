import type { Clock } from "../drivers/kit/clock.ts";
import { given } from "../drivers/kit/given.ts";
import type { HttpExchange } from "../drivers/kit/http-link.ts";
import { LinkClosedError, type OpenLink } from "../drivers/kit/links.ts";
import { memoryOpener } from "../drivers/kit/memory-link.ts";
import { listenOnLoopback } from "../drivers/kit/tcp-link.ts";
import { SimAlpacaServer } from "./alpaca/alpaca-server.ts";
import { answerDiscovery } from "./alpaca/discovery-responder.ts";
import { listenHttp } from "./alpaca/listen-http.ts";
import { memoryExchange } from "./alpaca/memory-exchange.ts";
import { IndiServer } from "./indi/indi-server.ts";
import type { MechanicsSpec } from "./scene/mechanics/mechanics-spec.ts";
import { ScenePainter } from "./scene/painter.ts";
import type { SceneSpec } from "./scene/spec/scene-spec.ts";
import { World } from "./scene/world.ts";
import {
  alpacaDevices,
  indiDevices,
  type SceneDeviceOptions,
  type ShownAlpacaDevice,
  type ShownDevice,
} from "./scene-devices.ts";

export interface SimulatorOptions {
  readonly spec: SceneSpec;
  /** Replaces the scene's own. */
  readonly seed?: number;
  readonly clock: Clock;
  /** 0 takes a free port; left out, nothing listens. */
  readonly indiPort?: number;
  /** The same for Alpaca. */
  readonly alpacaPort?: number;
  /** Where that port is told to whoever asks; left out, nobody hears it. The standard's is `discoveryPort`. */
  readonly alpacaDiscoveryPort?: number;
  /** How the Alpaca devices behave where their standard leaves a choice. */
  readonly alpaca?: SceneDeviceOptions;
  readonly mechanics?: Partial<MechanicsSpec>;
  /** What the servers show, under names of somebody's own. Left out, each shows the whole rig. */
  readonly shown?: { readonly indi?: readonly ShownDevice[]; readonly alpaca?: readonly ShownAlpacaDevice[] };
}

export interface Simulator extends AsyncDisposable {
  readonly world: World;
  readonly painter: ScenePainter;
  readonly indiServer: IndiServer;
  /** Where the INDI server listens on loopback; `undefined` without a port asked for. */
  readonly indi: { readonly port: number } | undefined;
  /** Opens an INDI link in memory. */
  readonly openIndi: OpenLink;
  readonly alpacaServer: SimAlpacaServer;
  /** Where the Alpaca server listens on loopback; `undefined` without a port asked for. */
  readonly alpaca: { readonly port: number } | undefined;
  /** Reaches the Alpaca server in memory; a new one for each client. */
  readonly openAlpaca: () => HttpExchange;
  close(): Promise<void>;
}

/** A port that can't be listened on. */
export class PortTakenError extends Error {
  constructor(
    readonly port: number,
    options: ErrorOptions,
  ) {
    super(`Port ${port} can't be listened on: another program uses it, or this user may not`, options);
    this.name = "PortTakenError";
  }
}

async function listenOnPort<Listening>(port: number, listen: () => Promise<Listening>): Promise<Listening> {
  try {
    return await listen();
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (code === "EADDRINUSE" || code === "EACCES") throw new PortTakenError(port, { cause: error });
    throw error;
  }
}

/** A simulated rig from a scene, served over INDI and Alpaca. @throws PortTakenError */
export async function startSimulator(options: SimulatorOptions): Promise<Simulator> {
  const { clock, seed, mechanics, shown } = options;
  const spec = seed === undefined ? options.spec : { ...options.spec, seed };
  const painter = new ScenePainter(spec);
  const paint: ScenePainter["paint"] = (light, ask) => painter.paint(light, ask);
  const world = new World({ spec, clock, paint, ...given({ mechanics }) });
  const server = new IndiServer(world, indiDevices(world, shown?.indi));
  const { indiPort, alpacaPort } = options;
  const alpacaServer = new SimAlpacaServer(world, alpacaDevices(world, options.alpaca, shown?.alpaca));
  const listening =
    indiPort === undefined
      ? undefined
      : await listenOnPort(indiPort, () => listenOnLoopback(indiPort, server.accept));
  const alpaca =
    alpacaPort === undefined
      ? undefined
      : await listenOnPort(alpacaPort, () => listenHttp(alpacaServer, alpacaPort)).catch(async (error) => {
          await listening?.close();
          throw error;
        });
  const discovery =
    alpaca && options.alpacaDiscoveryPort !== undefined
      ? await answerDiscovery(alpaca.port, options.alpacaDiscoveryPort)
      : undefined;
  const openIndi = memoryOpener(server.accept);
  const close = async () => {
    await server.close();
    alpacaServer.close();
    world.close();
    await listening?.close();
    await alpaca?.close();
    await discovery?.close();
  };
  return {
    world,
    painter,
    indiServer: server,
    indi: listening && { port: listening.port },
    openIndi: (signal) =>
      server.isDown ? Promise.reject(new LinkClosedError("connection refused")) : openIndi(signal),
    alpacaServer,
    alpaca: alpaca && { port: alpaca.port },
    openAlpaca: () => memoryExchange(alpacaServer),
    close,
    [Symbol.asyncDispose]: close,
  };
}
