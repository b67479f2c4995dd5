import type { Clock } from "../../drivers/kit/clock.ts";
import type { Log } from "../../drivers/kit/log.ts";
import type { Random } from "../../drivers/kit/random.ts";
import type { Site } from "../../drivers/roles/mount.ts";
import type { Rig } from "../../drivers/roles/rig.ts";
import type { UncoverTools } from "../safing/uncover.ts";
import type { Threads } from "../threads/threads.ts";
import type { FlatInUse, StepFindings } from "./findings.ts";
import type { TimeSpan } from "./time-span.ts";

/** The facts of the rig's optics, from the rig file. */
export interface Optics {
  readonly apertureMm: number;
  readonly focalLengthMm: number;
  readonly wavelengthNm: number;
}

/** Where the work stands, for a person who watches. */
export interface Progress {
  /** Which step of the plan, counted from 0, and its kind. */
  readonly stepIndex: number;
  /** Of how many; grows when a step is put in. */
  readonly stepCount: number;
  readonly what: string;
  readonly done: number;
  readonly of: number;
  readonly secondsLeft?: number;
}

/** The present assembly of the optical train, as far as the devices tell of it. */
export interface TrainSeen {
  /** Twelve letters and digits, equal for equal assemblies. */
  readonly mark: string;
  readonly binning?: number;
  /** Where the region in use begins [unbinned px]. */
  readonly regionAt?: { readonly xPx: number; readonly yPx: number };
  readonly filter?: string;
  readonly rotatorDegrees?: number;
}

/**
 * Everything a procedure works with. It knows roles and files through this and nothing else. The cover is moved by
 * `coverFront` and `uncover` alone.
 */
export interface Workbench extends UncoverTools {
  readonly rig: Rig;
  readonly clock: Clock;
  readonly random: Random;
  readonly log: Log;
  /** For what takes seconds on a large frame: sky and stop must be heard meanwhile. */
  readonly threads: Threads;
  readonly optics: Optics;
  readonly site: Site;
  /** The gain of the day's images, where the plan names it. */
  readonly plannedGain?: number;
  /** The folder of this run; a procedure writes only below it. */
  readonly folder: string;
  /** Stands in the header of every file that is written. */
  readonly fileNote?: string;
  /** What earlier steps and earlier runs found; a step adds its own. */
  readonly findings: StepFindings;
  /** Written into every file; `undefined` where nothing is known of the train. */
  readonly train?: TrainSeen;
  /** Flats of earlier runs with this train, none of them bad, newest first. */
  readonly keptFlats?: readonly FlatInUse[];
  /** When, in this step, a mount that should have followed the Sun did not, as far as the guard has seen by now. */
  readonly trackingLapses?: () => readonly TimeSpan[];
  /** Aborts when the run has given the step up: nothing of it may move any more, not even to make safe. */
  readonly abandoned: AbortSignal;
  /** Told why the step finds it unsafe, before it makes anything safe; must not throw. */
  readonly noteUnsafe?: (failure: Error) => void;
  /** Tells whoever watches. Cheap; call it once a frame. */
  progress(now: Omit<Progress, "stepIndex" | "stepCount">): void;
  /** Adds a dated line to the run record (`events.ndjson` and the time line of the report). */
  note(event: string, fields?: Readonly<Record<string, unknown>>): void;
}

export interface StepInput<Request> {
  readonly bench: Workbench;
  readonly request: Request;
}

/** What a step's states hand to each other. */
export interface StepWork<Request, Found> extends StepInput<Request> {
  /** Recorded however the step ends. */
  result?: Found;
  /** What it wants done before the rest of it; counts for work that ended well. */
  asks?: NewFlatRequest;
}

/** What a step wants done before what is left of it can be of use; the run puts it in, and then the rest of the step. */
export interface NewFlatRequest {
  readonly wants: "new flat";
  readonly because: string;
  /** Handed back to the step as `resumeWith` of its request. */
  readonly rest: unknown;
}

/**
 * Every step ends in this shape, good or bad.
 * `unsafe`: the step itself found that it is not safe to look (a brightness trip); the run retreats.
 */
export interface StepOutcome<Found> {
  readonly ended: "completed" | "stopped" | "failed" | "unsafe";
  readonly found?: Found;
  readonly failure?: Error;
  readonly asks?: NewFlatRequest;
}
