import type { IndiBlob } from "../wire/blob.ts";
import type { ElementValue, PropertyState, PropertyVector } from "../wire/property.ts";

/** What a device did. Told in the order of arrival, after the store was brought up to date. */
export type DeviceEvent =
  | { readonly type: "defined"; readonly vector: PropertyVector }
  | { readonly type: "updated"; readonly vector: PropertyVector }
  | { readonly type: "deleted"; readonly name: string }
  | { readonly type: "message"; readonly text: string; readonly revision: number }
  /** The driver died, the server did, or the link was cut. All properties are gone; all waits have failed. */
  | { readonly type: "lost"; readonly reason: string }
  /** Somebody else commands this device. Never a state: only what was asked. */
  | {
      readonly type: "foreignCommand";
      readonly name: string;
      readonly values: Readonly<Record<string, string>>;
    };

export type CommandValues = Readonly<Record<string, ElementValue>>;

export interface ChangeOptions {
  /** From physics: distance over speed, settling, margin. */
  readonly withinSeconds: number;
  /** What must be true besides a final state, `readsBack(values)` for example. Default: nothing. */
  readonly arrived?: (vector: PropertyVector) => boolean;
  /** States that end the change well. Default `["Ok"]`; pulses and disconnecting end "Idle". */
  readonly finalStates?: readonly PropertyState[];
  /**
   * How long a state that is neither final nor Busy may last, and how long a final one without `arrived`;
   * many drivers first repeat the old state. Default 0.5.
   */
  readonly settleSeconds?: number;
  /** Silence after a command before the property is read anew, which then decides. Default 3. */
  readonly replySeconds?: number;
  /** Whether an `[ERROR]` message meanwhile fails the change. Default "fail"; "ignore" for drivers that grumble. */
  readonly errorMessages?: "fail" | "ignore";
}

/**
 * One device on an INDI server. The object stays the same over restarts of driver and server.
 * All waits: the signal's reason if aborted, `DeadlineError` when the time is up, `DeviceLostError` at once when
 * the driver, the server or the link goes.
 */
export interface IndiDevice {
  readonly name: string;
  /** Whether any driver has announced it. */
  readonly known: boolean;
  /** Times that it was lost since the client was made. A driver gets about ten restarts from its server. */
  readonly lostCount: number;
  /** Place of the newest arrival, of whatever kind. "After this" marks for `waitFor` and `nextBlob`. */
  readonly revision: number;

  /** Memory of a BLOB that nobody looks at any more, for one to come; it is empty from now on. */
  giveBack(bytes: ArrayBufferView): void;
  /** Newest snapshot, `undefined` if the device does not offer it at present. */
  property(name: string): PropertyVector | undefined;
  properties(): readonly PropertyVector[];

  /**
   * Waits until all are defined, also over a reconnect that is under way. Asks once more for each by its name.
   * @returns the vectors in the order of the names
   * @throws MissingAbilityError naming those that are missing when the time is up
   */
  require(
    names: readonly string[],
    options: { withinSeconds: number },
    signal: AbortSignal,
  ): Promise<readonly PropertyVector[]>;

  /** Asks the device itself for the property as it is now. Also the proof that its driver lives. Default 5 s. */
  refresh(name: string, options: { withinSeconds?: number }, signal: AbortSignal): Promise<PropertyVector>;

  /**
   * Sends one command and waits until it has ended. Elements not given keep their present values; of switches under
   * OneOfMany and AtMostOne, those not given go off. All elements are sent always.
   * @returns the snapshot that ended it
   * @throws MissingAbilityError no such property or element, or read-only; OutOfLimitsError range or switch rule;
   *   nothing was sent in both cases
   * @throws RefusedError Alert, an error message, a state that is not final, or no answer with nothing changed
   * @throws ReadbackError it ended well but `arrived` is not true
   */
  change(
    name: string,
    values: CommandValues,
    options: ChangeOptions,
    signal: AbortSignal,
  ): Promise<PropertyVector>;

  /**
   * Checks and sends as `change` does, and waits for nothing but the link.
   * @returns the mark to wait from: everything that answers it has a greater revision
   */
  send(name: string, values: CommandValues, signal: AbortSignal): Promise<number>;

  /**
   * Waits until a snapshot newer than `after` passes the test; without `after` the present one may do.
   * A deleted property is not an end: it may be defined again.
   */
  waitFor(
    name: string,
    test: (vector: PropertyVector) => boolean,
    options: { withinSeconds: number; after?: number },
    signal: AbortSignal,
  ): Promise<PropertyVector>;

  /**
   * Switches CONNECTION on if it is off and waits until the definitions that follow have gone quiet.
   * Default 30 s in all, 0.5 s of quiet.
   * @throws RefusedError with the device's own words
   */
  connectDevice(
    signal: AbortSignal,
    options?: { withinSeconds?: number; quietSeconds?: number },
  ): Promise<void>;
  disconnectDevice(signal: AbortSignal, options?: { withinSeconds?: number }): Promise<void>;

  /** @returns how to stop it; safe to call any number of times */
  watch(listener: (event: DeviceEvent) => void): () => void;
  onForeignCommand(listener: (event: Extract<DeviceEvent, { type: "foreignCommand" }>) => void): () => void;

  /**
   * The next BLOB of a property. Call it before the command that makes one: BLOBs that nobody waits for are skipped.
   * Those that began at or before `after` are dropped; a function is asked when a BLOB has come, and its `undefined`
   * drops that BLOB (as before this request's Busy).
   * @throws BlobError broken, cut short or over the limit; DeviceLostError if the link went in its middle
   */
  nextBlob(
    name: string,
    options: {
      withinSeconds: number;
      after?: number | (() => number | undefined);
      accept?: (blob: IndiBlob) => boolean;
    },
    signal: AbortSignal,
  ): Promise<IndiBlob>;
}
