import * as z from "zod";
import type { ByteLink } from "../../drivers/kit/links.ts";

/** Two that speak different versions refuse each other: a keeper that misunderstands is worse than none. */
export const keeperVersion = 1;

/** How often the agent is heard of [s]. */
export const beatEverySeconds = 2;
/** Silence of an agent after which the rig is taken from it [s]. */
export const silenceSecondsMax = 10;

const agentWords = z.discriminatedUnion("say", [
  z.object({ say: z.literal("hello"), version: z.number(), rig: z.string() }),
  z.object({ say: z.literal("beat"), number: z.number() }),
  z.object({ say: z.literal("goodbye") }),
]);
export type AgentWords = z.infer<typeof agentWords>;

const keeperWords = z.discriminatedUnion("say", [
  z.object({ say: z.literal("welcome") }),
  z.object({ say: z.literal("refused"), why: z.string() }),
  /** The answer to a beat. */
  z.object({ say: z.literal("heard"), number: z.number() }),
  /** The rig is no longer the agent's. */
  z.object({ say: z.literal("took the rig"), why: z.string() }),
]);
export type KeeperWords = z.infer<typeof keeperWords>;

/** More without a line's end is no speaker of ours [bytes]. */
const lineBytesMax = 4096;

export async function sendWords(link: ByteLink, words: AgentWords | KeeperWords): Promise<void> {
  await link.send(new TextEncoder().encode(`${JSON.stringify(words)}\n`));
}

export const hearAgent = (link: ByteLink) => hearWords(link, agentWords);
export const hearKeeper = (link: ByteLink) => hearWords(link, keeperWords);

/** What the other side says, one JSON object a line; what is none is left out. Ends, or throws, with the link. */
async function* hearWords<Words>(link: ByteLink, schema: z.ZodType<Words>): AsyncGenerator<Words, undefined> {
  const decoder = new TextDecoder();
  let text = "";
  for await (const bytes of link.incoming) {
    text += decoder.decode(bytes, { stream: true });
    const lines = text.split("\n");
    text = lines.pop()!;
    if (text.length > lineBytesMax) throw new Error("a line without an end");
    for (const line of lines) {
      const { data } = schema.safeParse(readJson(line));
      if (data !== undefined) yield data;
    }
  }
  return undefined;
}

function readJson(line: string): unknown {
  try {
    return JSON.parse(line);
  } catch {
    return undefined;
  }
}
