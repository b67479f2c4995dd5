import { readdirSync, readlinkSync } from "node:fs";

/** What this process holds of the computer, at the end of a day. */
export interface ResourceSample {
  readonly memoryMegabytes: number;
  /** Open files, sockets and pipes; absent where the system does not tell. */
  readonly handles?: number;
}

export interface ResourceSlope {
  readonly memoryMegabytes: readonly [first: number, last: number];
  readonly memoryMegabytesADay: number;
  readonly handles?: readonly [first: number, last: number];
  readonly handlesADay?: number;
  /** Of which these are, counted from 1. */
  readonly days: readonly [first: number, last: number];
}

const ownHandles = "/proc/self/fd";

/** Handles by number, each with what it is of. */
type Handles = ReadonlyMap<string, string>;

/**
 * Counts what the rehearsal holds day by day. What a killed process of the service left open would be closed by its system: it is
 * noted when that process ends, and not counted.
 */
export class ResourceUse {
  readonly samples: ResourceSample[] = [];
  readonly #ofTheDead = new Map<string, string>();
  #before: Handles | undefined;

  /** @param handlesNow default: those of this process; `undefined` where the system does not tell */
  constructor(readonly handlesNow: () => Handles | undefined = listHandles) {}

  beginProcess(): void {
    this.#before = this.handlesNow();
  }

  /** After a process of the service was killed: what it opened and has not closed is nobody's. */
  buryProcess(): void {
    for (const [number, what] of this.handlesNow() ?? [])
      if (this.#before?.get(number) !== what) this.#ofTheDead.set(number, what);
  }

  endDay(): void {
    const handles = this.handlesNow();
    if (handles)
      for (const [number, what] of this.#ofTheDead)
        if (handles.get(number) !== what) this.#ofTheDead.delete(number);
    Bun.gc(true); // what is kept counts, not what was not collected yet
    const memoryMegabytes = process.memoryUsage.rss() / 1e6;
    this.samples.push({
      memoryMegabytes,
      ...(handles ? { handles: handles.size - this.#ofTheDead.size } : {}),
    });
  }
}

function listHandles(): Handles | undefined {
  try {
    const found = new Map<string, string>();
    for (const number of readdirSync(ownHandles)) {
      try {
        found.set(number, readlinkSync(`${ownHandles}/${number}`));
      } catch {
        // The handle by which the folder was read is closed by now.
      }
    }
    return found;
  } catch {
    return undefined;
  }
}

/** Straight lines through the second half of the days, when what is loaded and compiled once has been. */
export function fitSlope(samples: readonly ResourceSample[]): ResourceSlope | undefined {
  const from = Math.floor(samples.length / 2);
  const late = samples.slice(from);
  if (late.length < 2) return undefined;
  const memory = late.map(({ memoryMegabytes }) => memoryMegabytes);
  const handles = late.flatMap((sample) => sample.handles ?? []);
  const ends = (values: readonly number[]) => [values[0]!, values.at(-1)!] as const;
  return {
    days: [from + 1, samples.length],
    memoryMegabytes: ends(memory),
    memoryMegabytesADay: slopeOf(memory),
    ...(handles.length === late.length ? { handles: ends(handles), handlesADay: slopeOf(handles) } : {}),
  };
}

/** Of least squares, against the index. */
function slopeOf(values: readonly number[]): number {
  const middle = (values.length - 1) / 2;
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
  const [above, below] = values.reduce(
    ([a, b], value, index) => [a + (index - middle) * (value - mean), b + (index - middle) ** 2],
    [0, 0],
  );
  return above / below;
}
