import { InterruptedError } from "../run/record/run-errors.ts";

const names = ["SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT"] as const;
/** Ctrl-Z */
const pause = "SIGTSTP";
type SignalName = (typeof names)[number] | typeof pause;

/** What of the process a stop needs; tests give their own. */
export interface SignalSource {
  on(signal: SignalName, listener: () => void): unknown;
  removeListener(signal: SignalName, listener: () => void): unknown;
}

/** What a stop is answered with. */
export interface StopWords {
  readonly first: string;
  /** To those that come while the first is carried out. */
  readonly again: string;
  /** The state of things, of work that a stop cut short. */
  readonly state: string;
  /** To Ctrl-Z, where nothing would watch over a rig meanwhile; left out, it does what it always does. */
  readonly pause?: string;
}

/** Of a command that nothing can go wrong with when it ends half way. */
export const stopWords: StopWords = {
  first: "Stopping.",
  again: "Still stopping; please wait.",
  state: "Nothing was changed.",
};

export const stopWordsOfRun: StopWords = {
  first: "Stopping: the step in hand ends, then the rig is put back as it was.",
  again:
    "Still putting the rig back; please wait. If the process has to be killed, run `evenfield restore` after it.",
  state: stopWords.state,
  pause: "Not paused: nobody would watch over the rig meanwhile. Ctrl-C stops in good order.",
};

/**
 * Turns Ctrl-C, Ctrl-\\, SIGTERM and a terminal that is gone into one orderly stop. The first asks for it; further ones are answered
 * with what is going on, because breaking off the restoring would leave the rig half put back.
 */
export function listenForStop(
  source: SignalSource,
  words: StopWords,
  say: (text: string) => void,
): { readonly signal: AbortSignal } & Disposable {
  const stop = new AbortController();
  const onSignal = () => {
    say(`${stop.signal.aborted ? words.again : words.first}\n`);
    stop.abort(new InterruptedError("stopped by the operator"));
  };
  for (const name of names) source.on(name, onSignal);
  const onPause = () => say(`${words.pause}\n`);
  if (words.pause !== undefined) source.on(pause, onPause);
  return {
    signal: stop.signal,
    [Symbol.dispose]() {
      for (const name of names) source.removeListener(name, onSignal);
      source.removeListener(pause, onPause);
    },
  };
}
