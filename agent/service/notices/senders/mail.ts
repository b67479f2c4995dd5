import { readFileSync } from "node:fs";
import { createTransport } from "nodemailer";
import { noticeTitle } from "../notice.ts";
import type { NoticeSender } from "../notice-sender.ts";
import { readSecret } from "../secret-file.ts";

/** The longest waits of the library [ms]. */
const waitLimitsMs = { connectionTimeout: 15_000, greetingTimeout: 15_000, socketTimeout: 20_000 };

interface MailEntry {
  readonly host: string;
  readonly port: number;
  readonly from: string;
  readonly to: readonly string[];
  readonly user?: string | undefined;
  readonly passwordFile?: string | undefined;
  readonly caFile?: string | undefined;
  readonly plainOnThisComputer: boolean;
}

/** A mail for each notice, over TLS with a certificate that is checked; one connection each, for notices are rare. */
export function mailSender(entry: MailEntry): NoticeSender {
  const { host, port, from, to, user, passwordFile, caFile, plainOnThisComputer } = entry;
  return {
    async send(notice, signal) {
      signal.throwIfAborted();
      const transport = createTransport({
        host,
        port,
        ...waitLimitsMs,
        ...(plainOnThisComputer ? { ignoreTLS: true } : { secure: port === 465, requireTLS: true }),
        ...(caFile === undefined ? {} : { tls: { ca: [readFileSync(caFile, "utf8")] } }),
        ...(passwordFile === undefined
          ? {}
          : { auth: { user: user ?? from, pass: readSecret(passwordFile) } }),
        disableFileAccess: true,
        disableUrlAccess: true,
      });
      const onAbort = () => transport.close();
      signal.addEventListener("abort", onAbort, { once: true });
      try {
        const { rig, id, text, utcMs, whatToDo } = notice;
        await transport.sendMail({
          from,
          to: [...to],
          subject: noticeTitle(notice),
          text: [text, whatToDo].filter((part) => part).join("\n\n"),
          date: new Date(utcMs),
          messageId: `<${rig}.${id}.${utcMs}@evenfield.invalid>`,
        });
      } finally {
        signal.removeEventListener("abort", onAbort);
        transport.close();
      }
    },
  };
}
