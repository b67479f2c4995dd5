import type { CommandHost } from "./outcome.ts";

/** What of the process a stop needs; tests give their own. */
export interface SignalSource {
  on(signal: "SIGINT" | "SIGTERM", listener: () => void): unknown;
  removeListener(signal: "SIGINT" | "SIGTERM", listener: () => void): unknown;
}

const names = ["SIGINT", "SIGTERM"] as const;

/** What a stop is answered with: the first, and those that come while it is carried out. */
export interface StopWords {
  readonly first: string;
  readonly again: string;
}

const ofARig: StopWords = {
  first: "Stopping: the step in hand ends, then the rig is put back as it was.",
  again:
    "Still putting the rig back; please wait. If the process has to be killed, run `evenfield restore` after it.",
};

/**
 * Turns Ctrl-C and SIGTERM into an orderly stop. The first one asks for it; further ones are answered with what is
 * going on, because breaking off the restoring would leave the rig half put back.
 */
export async function withStopSignals<T>(
  host: CommandHost,
  source: SignalSource,
  work: (signal: AbortSignal) => Promise<T>,
  words: StopWords = ofARig,
): Promise<T> {
  const stop = new AbortController();
  const onSignal = () => {
    if (stop.signal.aborted) {
      host.stderr(`${words.again}\n`);
      return;
    }
    host.stderr(`${words.first}\n`);
    stop.abort(new Error("stopped by the operator"));
  };
  for (const name of names) source.on(name, onSignal);
  try {
    return await work(stop.signal);
  } finally {
    for (const name of names) source.removeListener(name, onSignal);
  }
}
