import { readFileSync, realpathSync, renameSync, statSync, writeFileSync } from "node:fs";
import type { Clock } from "../../drivers/kit/clock.ts";
import type { Log } from "../../drivers/kit/log.ts";
import { confirmFilterInText } from "../../plans/confirm-filter.ts";
import { formatUtcMinute } from "../run/record/utc-minute.ts";
import type { Wishes } from "../service/deeds/wishes.ts";
import { type Acting, DeedRefusedError } from "../service/page/answer-act.ts";
import { Doorkeeper } from "../service/page/doorkeeper.ts";
import type { ServiceStatus } from "../service/service-status.ts";
import { wrongInput } from "./outcome.ts";

/** What a person may do on the page, by the service's own ways. @throws CommandError when the token can't be used */
export function openActing(
  tokenFile: string,
  tools: {
    readonly rigPath: string;
    readonly wishes: Wishes;
    readonly clock: Clock;
    readonly log: Log;
    status(): ServiceStatus | undefined;
  },
): Acting {
  const { rigPath, wishes, clock, log, status } = tools;
  const door = new Doorkeeper(tokenFile, () => clock.monotonicSeconds() * 1000);
  try {
    door.check();
  } catch (error) {
    const happened = `The token of who may act can't be used: ${error instanceof Error ? error.message : String(error)}.`;
    throw wrongInput(
      "Nothing was begun.",
      happened,
      "Mend the file, or leave out --act-token.",
      error as Error,
    );
  }
  return {
    door,
    carryOut(deed, who) {
      const utcMs = clock.nowMs();
      const state = status()?.state;
      if (deed === "filter-inspected") {
        // Nobody inspects a filter while the telescope may be open.
        if (state !== "held" && state !== "standing by")
          throw new DeedRefusedError(
            `The filter is inspected on the covered telescope; the service is ${state ?? "starting"}.`,
          );
        confirmInFile(rigPath, formatUtcMinute(utcMs));
      }
      wishes.add({ utcMs, deed, who });
      log.info({ deed, who }, "a person acted on the page");
      return said[deed];
    },
  };
}

const said = {
  stop: "What goes on is stopped and put back; nothing begins until somebody lets it go on.",
  hold: "What goes on is finished; nothing begins until somebody lets it go on.",
  "go-on": "What persons have stopped or held goes on.",
  "filter-inspected": "It is written into the rig file that the filter was inspected now.",
} as const;

/** As a whole or not at all: a power cut leaves the old file or the new one. */
function confirmInFile(rigPath: string, when: string): void {
  try {
    const file = realpathSync(rigPath);
    const text = confirmFilterInText(readFileSync(file, "utf8"), rigPath, when);
    const beside = `${file}.new`;
    writeFileSync(beside, text, { mode: statSync(file).mode & 0o777, flush: true });
    renameSync(beside, file);
  } catch (error) {
    throw new DeedRefusedError(
      `It could not be written into the rig file: ${error instanceof Error ? error.message : String(error)}`,
    );
  }
}
