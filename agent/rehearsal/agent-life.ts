import type { Clock, ClockTimer } from "../../drivers/kit/clock.ts";
import { sleepOn } from "../../drivers/kit/clock.ts";
import type { HttpExchange } from "../../drivers/kit/http-link.ts";
import type { ByteLink, OpenLink } from "../../drivers/kit/links.ts";

/** The agent's process was killed while it played; nothing of it ran after that. */
export class AgentKilledError extends Error {
  override readonly name = "AgentKilledError";
  constructor() {
    super("the agent was killed");
  }
}

const never = new Promise<never>(() => {});

/**
 * One agent process, as the rest of the world sees it. Killed, it takes its timers and its links with it: what it
 * awaits never comes, the servers see its links closed, and no line of its cleanup runs.
 */
export class AgentLife {
  readonly #end = Promise.withResolvers<never>();
  readonly #atDeath: (() => void)[] = [];
  #alive = true;
  /** While it is stopped: settles when it goes on. */
  #stopped: PromiseWithResolvers<void> | undefined;

  constructor() {
    this.#end.promise.catch(() => {});
  }

  get alive(): boolean {
    return this.#alive;
  }

  kill(): void {
    if (!this.#alive) return;
    this.#alive = false;
    for (const cut of this.#atDeath.splice(0)) cut();
    this.#end.reject(new AgentKilledError());
  }

  /** As by SIGSTOP: no line of it runs until it goes on, its links stay open, and its clock has gone on when it wakes. */
  stop(): void {
    this.#stopped ??= Promise.withResolvers();
  }

  goOn(): void {
    this.#stopped?.resolve();
    this.#stopped = undefined;
  }

  /** @throws AgentKilledError as soon as it is killed */
  async until<T>(work: Promise<T>): Promise<T> {
    work.catch(() => {}); // of a dead agent nobody asks
    return await Promise.race([work, this.#end.promise]);
  }

  /** The clock that dies with it. */
  clock(clock: Clock): Clock {
    const timers = new Set<ClockTimer>();
    this.#atDeath.push(() => {
      for (const timer of timers) timer.cancel();
    });
    const own: Clock = {
      nowMs: () => clock.nowMs(),
      monotonicSeconds: () => clock.monotonicSeconds(),
      setTimer: (afterSeconds, callback) => {
        if (!this.#alive) return { cancel() {} };
        let isCancelled = false;
        const timer = clock.setTimer(afterSeconds, () => {
          timers.delete(timer);
          if (!this.#stopped) return callback();
          void this.#stopped.promise.then(() => {
            if (this.#alive && !isCancelled) callback();
          });
        });
        timers.add(timer);
        return {
          cancel() {
            isCancelled = true;
            timers.delete(timer);
            timer.cancel();
          },
        };
      },
      sleep: (seconds, signal) => sleepOn(own, seconds, signal),
      hold: async (work) => this.#whileAlive(await clock.hold(work)),
    };
    return own;
  }

  /** Links that close on the far side when it dies. */
  opener(open: OpenLink): OpenLink {
    return async (signal) => {
      if (!this.#alive) return never;
      const link = await open(signal);
      if (!this.#alive) void link.close();
      else this.#atDeath.push(() => void link.close());
      return this.#linkOf(link);
    };
  }

  #linkOf(link: ByteLink): ByteLink {
    const whileAlive = <T>(value: T) => this.#whileAlive(value);
    async function* incoming() {
      for await (const bytes of link.incoming) yield await whileAlive(bytes);
      await whileAlive(undefined);
    }
    return {
      incoming: { [Symbol.asyncIterator]: incoming },
      send: async (bytes) => {
        await whileAlive(undefined);
        await whileAlive(await link.send(bytes));
      },
      close: async () => whileAlive(await link.close()),
    };
  }

  exchange(exchange: HttpExchange): HttpExchange {
    return {
      exchange: async (request) => {
        await this.#whileAlive(undefined);
        try {
          return await this.#whileAlive(await exchange.exchange(request));
        } catch (error) {
          return this.#alive ? Promise.reject(error as Error) : never;
        }
      },
      reset: async () => this.#whileAlive(await exchange.reset()),
      close: async () => this.#whileAlive(await exchange.close()),
    };
  }

  #whileAlive<T>(value: T): T | Promise<T> {
    if (!this.#alive) return never;
    return this.#stopped ? this.#stopped.promise.then(() => this.#whileAlive(value)) : value;
  }
}
