import type { RigFile } from "../../plans/rig-file.ts";
import { type ConnectTools, connectRigFile } from "../run/checks/connect-rig-file.ts";
import { readBaseline } from "../run/ledger/baseline.ts";
import { trainFacts, trainMark } from "../run/ledger/train-mark.ts";

/** The mark of the rig as it is now: connects, reads, and gives the links back; its seal lets no command through. */
export async function readTrainMark(
  rigFile: RigFile,
  tools: ConnectTools,
  signal: AbortSignal,
): Promise<string> {
  await using connected = await connectRigFile(rigFile, tools, signal);
  const { rig } = connected;
  return trainMark(trainFacts(rig, rigFile, await readBaseline(rig, signal)));
}
