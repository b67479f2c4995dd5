import type { World } from "../../scene/world.ts";
import { checkedNumber } from "../ascom-error.ts";
import type { MemberTable } from "../member-table.ts";

/** Binning and subframe in the standard's terms: start and size in binned pixels. */
export interface BinnedFrame {
  binX: number;
  binY: number;
  startX: number;
  startY: number;
  numX: number;
  numY: number;
}

/**
 * The subframe as a client sets it, number by number. Nothing is checked before the exposure begins; the camera gets
 * it whenever it makes sense.
 */
export class CameraFrame {
  readonly #world: World;
  #frame: BinnedFrame;
  #seen: string;

  constructor(world: World) {
    this.#world = world;
    this.#frame = this.#fromCamera();
    this.#seen = this.#camera();
  }

  /** As set last, by this side or by another protocol's client. */
  get now(): Readonly<BinnedFrame> {
    if (this.#camera() !== this.#seen) {
      this.#frame = this.#fromCamera();
      this.#seen = this.#camera();
    }
    return this.#frame;
  }

  change(change: Partial<BinnedFrame>): void {
    this.#frame = { ...this.now, ...change };
    if (this.whyImpossible() !== undefined) return;
    const { binX, startX, startY, numX, numY } = this.#frame;
    const { settings } = this.#world.camera;
    settings.binning = binX;
    settings.region = {
      xPx: startX * binX,
      yPx: startY * binX,
      widthPx: numX * binX,
      heightPx: numY * binX,
    };
    this.#seen = this.#camera();
  }

  /** Why no exposure can be made with it, or undefined. */
  whyImpossible(): string | undefined {
    const { binX, binY, startX, startY, numX, numY } = this.now;
    const { widthPx, heightPx } = this.#world.spec.camera;
    if (binX !== binY) return `bins of ${binX} x ${binY} are not square`;
    const fits = (start: number, num: number, sizePx: number) =>
      start >= 0 && num >= 1 && start + num <= Math.floor(sizePx / binX);
    if (fits(startX, numX, widthPx) && fits(startY, numY, heightPx)) return undefined;
    return `${numX} x ${numY} px at ${startX}, ${startY} do not fit the sensor at binning ${binX}`;
  }

  #camera(): string {
    const { binning, region } = this.#world.camera.settings;
    return [binning, ...Object.values(region)].join(" ");
  }

  #fromCamera(): BinnedFrame {
    const { binning, region } = this.#world.camera.settings;
    const binned = (px: number) => Math.floor(px / binning);
    return {
      binX: binning,
      binY: binning,
      startX: binned(region.xPx),
      startY: binned(region.yPx),
      numX: binned(region.widthPx),
      numY: binned(region.heightPx),
    };
  }
}

const subframe = { StartX: "startX", StartY: "startY", NumX: "numX", NumY: "numY" } as const;

/** The bins are as the camera keeps them, also over a disconnecting: it has not been switched off. */
export function addFrame(members: MemberTable, frame: CameraFrame, binningMax: number): void {
  const bin = (value: number) => {
    checkedNumber("a binning of", value, 1, binningMax);
    frame.change({ binX: value, binY: value }); // asymmetric bins are not possible, so the other one follows
  };
  members.setting("BinX", "int", { read: () => frame.now.binX, write: bin });
  members.setting("BinY", "int", { read: () => frame.now.binY, write: bin });
  for (const [parameter, key] of Object.entries(subframe))
    members.setting(parameter, "int", {
      read: () => frame.now[key],
      write: (px) => frame.change({ [key]: px }),
    });
}
