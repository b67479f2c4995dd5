import type { Clock, ClockTimer } from "../../kit/clock.ts";
import { ReadbackError, RefusedError } from "../../kit/errors.ts";
import type { WaitEnds, Waiting } from "../wire/pending-waits.ts";
import { type PropertyState, type PropertyVector, readsBack } from "../wire/property.ts";
import type { CommandValues } from "./command.ts";
import type { DeviceEvent } from "./property-news.ts";

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

export interface ChangeStart {
  readonly clock: Clock;
  /** The snapshot that the command was checked against. */
  readonly before: PropertyVector;
  readonly values: CommandValues;
  readonly options: ChangeOptions;
  /** Sends getProperties for this one property. */
  readonly ask: () => void;
}

/** An Alert comes beside its reason, which may be a moment late. */
const reasonSeconds = 0.1;

/**
 * Follows one command to its end. Judges every snapshot that arrives after it was sent, by what drivers were seen
 * to do: repeat the old state first, answer a refusal with Alert and then Ok, with Idle, with a message only, or
 * not at all. What stays unclear is settled by asking the device for the property: the answer decides.
 */
export class Change implements Waiting<DeviceEvent> {
  readonly #start: ChangeStart;
  readonly #ends: WaitEnds<PropertyVector>;
  readonly #settleSeconds: number;
  #timer: ClockTimer | undefined;
  /** The state that is being given time to settle: repeating it, as chatter does, must not prolong that. */
  #settling: PropertyState | undefined;
  #latest: PropertyVector;
  #errorTimer: ClockTimer | undefined;
  #error: string | undefined;
  #words: string | undefined;
  #wasBusy = false;
  #answered = false;
  #asked = false;

  constructor(start: ChangeStart, ends: WaitEnds<PropertyVector>) {
    this.#start = start;
    this.#latest = start.before;
    this.#ends = ends;
    this.#settleSeconds = start.options.settleSeconds ?? 0.5;
    this.#after(start.options.replySeconds ?? 3, () => this.#ask());
  }

  see(event: DeviceEvent): void {
    const { name } = this.#start.before;
    if (event.type === "message") this.#hear(event.text);
    else if (event.type === "deleted" && event.name === name) this.#withdrawn();
    else if (event.type === "updated" && event.vector.name === name) this.#judge(event.vector, false);
    else if (event.type === "defined" && event.vector.name === name) this.#judge(event.vector, this.#asked);
  }

  stop(): void {
    this.#timer?.cancel();
    this.#errorTimer?.cancel();
  }

  #hear(text: string): void {
    this.#words = text;
    if (!text.startsWith("[ERROR]")) return;
    this.#error = text;
    if (this.#start.options.errorMessages === "ignore") return;
    // The state that goes with it may follow; it can't make this a success.
    this.#errorTimer ??= this.#start.clock.setTimer(this.#settleSeconds, () => this.#refuse("said so"));
  }

  #withdrawn(): void {
    this.#after(this.#settleSeconds, () => this.#refuse("withdrew the property"));
  }

  /** @param asked whether this is the answer to our question, which decides */
  #judge(vector: PropertyVector, asked: boolean): void {
    const { before, options } = this.#start;
    const finalStates = options.finalStates ?? ["Ok"];
    const firstAnswer = !this.#answered;
    this.#answered = true;
    this.#latest = vector;
    if (asked) this.#asked = false;
    if (asked || vector.state !== this.#settling) this.#quiet();
    if (vector.state === "Busy") {
      this.#wasBusy = true;
      return; // only the overall deadline ends this
    }
    if (finalStates.includes(vector.state)) {
      this.#judgeFinal(vector, asked, firstAnswer);
    } else if (vector.state === "Alert") {
      this.#judgeAlert(vector, asked, firstAnswer && before.state === "Alert");
    } else if (asked) {
      this.#refuse(`ended ${vector.state}`);
    } else {
      this.#settle(vector, () => this.#ask());
    }
  }

  #judgeFinal(vector: PropertyVector, asked: boolean, firstAnswer: boolean): void {
    const { before, options, values } = this.#start;
    if (this.#error !== undefined && options.errorMessages !== "ignore") {
      this.#refuse("said so");
    } else if (
      options.arrived ? options.arrived(vector) : !asked || !firstAnswer || readsBack(values)(vector)
    ) {
      const maybeOld = !options.arrived && !asked && !this.#wasBusy && vector.state === before.state;
      if (maybeOld) this.#settle(vector, () => this.#ends.done(this.#latest));
      else this.#ends.done(vector);
    } else if (!asked) {
      this.#settle(vector, () => this.#ask());
    } else if (firstAnswer) {
      this.#refuse(`gave no answer, and ${shown(vector)} stays`);
    } else {
      const wanted = Object.entries(values).map(([element, value]) => `${element}=${value}`);
      this.#ends.fail(new ReadbackError(before.device, vector.name, wanted.join(" "), shown(vector)));
    }
  }

  #judgeAlert(vector: PropertyVector, asked: boolean, maybeOld: boolean): void {
    if (vector.message !== undefined) this.#words = vector.message;
    const refuse = () => this.#refuse("ended Alert");
    if (maybeOld && !asked && this.#error === undefined) this.#settle(vector, () => this.#ask());
    else if (this.#words !== undefined) refuse();
    else this.#after(reasonSeconds, refuse);
  }

  #ask(): void {
    this.#asked = true;
    this.#start.ask();
  }

  #refuse(how: string): void {
    const { before, values } = this.#start;
    const wanted = Object.entries(values).map(([element, value]) => `${element}=${value}`);
    const words = this.#error ?? this.#words;
    const told = words === undefined ? "it gave no reason" : `its words: ${words}`;
    this.#ends.fail(
      new RefusedError(before.device, `${before.name} to ${wanted.join(" ")}: the device ${how}; ${told}`),
    );
  }

  #settle(vector: PropertyVector, callback: () => void): void {
    if (this.#settling === vector.state) return;
    this.#after(this.#settleSeconds, callback);
    this.#settling = vector.state;
  }

  #quiet(): void {
    this.#timer?.cancel();
    this.#settling = undefined;
  }

  #after(seconds: number, callback: () => void): void {
    this.#quiet();
    this.#timer = this.#start.clock.setTimer(seconds, () => {
      this.#settling = undefined;
      callback();
    });
  }
}

function shown(vector: PropertyVector): string {
  return [...vector.elements.values()].map((element) => `${element.name}=${element.value}`).join(" ");
}
