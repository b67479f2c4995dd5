import type { ActorOptions, AnyActorLogic } from "xstate";
import type { Clock, ClockTimer } from "../../../drivers/kit/clock.ts";

type XstateClock = NonNullable<ActorOptions<AnyActorLogic>["clock"]>;

/** Our clock as xstate wants it (milliseconds), so that `after` and deadlines follow virtual and fast time too. */
export function xstateClock(clock: Clock): XstateClock {
  return {
    setTimeout: (callback: (...args: unknown[]) => void, delayMs: number) =>
      clock.setTimer(delayMs / 1000, callback),
    clearTimeout: (timer: ClockTimer | undefined) => timer?.cancel(),
  };
}
