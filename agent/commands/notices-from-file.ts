import type { Clock } from "../../drivers/kit/clock.ts";
import type { NoticesFile } from "../../plans/notices-file.ts";
import type { Post } from "../service/notices/notice-desk.ts";
import { senderOf } from "../service/notices/senders/sender-of.ts";

/** Who is told, each with the way to it. */
export function postsOf(
  { to }: NoticesFile,
  rig: string,
  clock: Clock,
  how: { readonly isTrial?: boolean } = {},
): Promise<readonly Post[]> {
  return Promise.all(
    to.map(async (receiver) => ({ receiver, sender: await senderOf(receiver.by, rig, clock, how) })),
  );
}
