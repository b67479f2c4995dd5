import { Agent, request } from "undici/index.js";
import { noticeJson } from "../notice.ts";
import type { NoticeSender } from "../notice-sender.ts";
import { readSecret } from "../secret-file.ts";

/** The longest waits of the library [ms]; how often it is tried again is ours to say. */
const waitLimitsMs = { headersTimeout: 20_000, bodyTimeout: 20_000, connect: { timeout: 10_000 } };

interface WebhookEntry {
  readonly address?: string | undefined;
  readonly addressFile?: string | undefined;
  readonly tokenFile?: string | undefined;
}

/** Posts the notice as JSON; anything but a 2xx answer is a failure, redirects too. */
export function webhookSender({ address, addressFile, tokenFile }: WebhookEntry): NoticeSender {
  const agent = new Agent({ ...waitLimitsMs, maxResponseSize: 65_536 });
  return {
    async send(notice, signal) {
      const { statusCode, body } = await request(address ?? readSecret(addressFile!), {
        dispatcher: agent,
        method: "POST",
        headers: {
          "content-type": "application/json",
          "idempotency-key": `${notice.rig}-${notice.id}-${notice.utcMs}`,
          ...(tokenFile === undefined ? {} : { authorization: `Bearer ${readSecret(tokenFile)}` }),
        },
        body: noticeJson(notice),
        signal,
      });
      await body.dump();
      if (statusCode < 200 || statusCode > 299) throw new Error(`it answered with the status ${statusCode}`);
    },
    close: () => agent.destroy(),
  };
}
