import { once } from "node:events";
import { chmodSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createServer, type IncomingMessage } from "node:http";
import type { AddressInfo } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, expect, test } from "vitest";
import type { Notice } from "../../../../agent/service/notices/notice.ts";
import { readSecret, withoutSecrets } from "../../../../agent/service/notices/secret-file.ts";
import { commandSender } from "../../../../agent/service/notices/senders/run-command.ts";
import { webhookSender } from "../../../../agent/service/notices/senders/webhook.ts";
import { neverAborted } from "../../../../drivers/kit/never-aborted.ts";

const folder = mkdtempSync(join(tmpdir(), "evenfield-senders-"));
const notice: Notice = {
  id: 7,
  rig: "hut",
  utcMs: Date.parse("2026-07-14T10:00:00Z"),
  kind: "person-needed",
  phase: "begins",
  text: 'The filter was inspected 91 days ago; "$(touch never)" is text.',
  whatToDo: "Inspect it.",
};
const json = {
  rig: "hut",
  id: 7,
  utc: "2026-07-14T10:00:00.000Z",
  kind: "person-needed",
  phase: "begins",
  text: notice.text,
  whatToDo: "Inspect it.",
};

const asked: { request: IncomingMessage; body: string }[] = [];
const server = createServer((request, response) => {
  let body = "";
  request.on("data", (part) => (body += String(part)));
  request.on("end", () => {
    asked.push({ request, body });
    const status = request.url === "/moved" ? 302 : request.url === "/well" ? 204 : 500;
    response.writeHead(status, status === 302 ? { location: "/well" } : {}).end();
  });
});
let address: string;
beforeAll(async () => {
  server.listen(0, "127.0.0.1");
  await once(server, "listening");
  address = `http://127.0.0.1:${(server.address() as AddressInfo).port}`;
});
afterAll(() => {
  server.closeAllConnections();
  server.close();
  rmSync(folder, { recursive: true });
});

function secretFile(text: string, mode = 0o600): string {
  const file = join(folder, `secret-${text.length}-${mode}`);
  writeFileSync(file, text);
  chmodSync(file, mode);
  return file;
}

test("a webhook gets the notice as JSON, its token from the file, and a key that tells one sent twice", async () => {
  const tokenFile = secretFile("a-token-of-mine\n");
  const sender = webhookSender({ address: `${address}/well`, tokenFile });
  await sender.send(notice, neverAborted);
  const { request, body } = asked.pop()!;
  expect(JSON.parse(body)).toEqual(json);
  expect(request.headers).toMatchObject({
    authorization: "Bearer a-token-of-mine",
    "content-type": "application/json",
    "idempotency-key": "hut-7-1784023200000",
  });
  await sender.close!();
});

test("an answer that is none, a redirect and a server that is not there are failures", async () => {
  for (const [path, said] of [
    ["/broken", /status 500/],
    ["/moved", /status 302/],
  ] as const)
    await expect(webhookSender({ address: address + path }).send(notice, neverAborted)).rejects.toThrow(said);
  await expect(
    webhookSender({ address: "http://127.0.0.1:9/x" }).send(notice, neverAborted),
  ).rejects.toThrow();
});

test("a secret that others may read is refused, and no message holds one", () => {
  expect(() => readSecret(secretFile("open-secret", 0o644))).toThrow(/others may read .*chmod 600/);
  expect(() => readSecret(secretFile("\n"))).toThrow(/is empty/);
  const secret = readSecret(secretFile("p@ss word"));
  const encoded = [secret, encodeURIComponent(secret), Buffer.from(secret).toString("base64")];
  expect(withoutSecrets(`535 ${encoded.join(" ")}`)).toBe("535 [secret] [secret] [secret]");
});

test("a command gets the notice on its standard input, with no shell between", async () => {
  const file = join(folder, "got.json");
  const program = join(folder, "take");
  writeFileSync(program, '#!/bin/sh\ncat > "$1"\n', { mode: 0o755 });
  await commandSender([program, file]).send(notice, neverAborted);
  expect(JSON.parse(readFileSync(file, "utf8"))).toEqual(json);
});

test("a command that fails, is not there, reads nothing or never ends", async () => {
  await expect(commandSender(["false"]).send(notice, neverAborted)).rejects.toThrow(
    "false ended with exit code 1",
  );
  await expect(commandSender([join(folder, "none")]).send(notice, neverAborted)).rejects.toThrow(/ENOENT/);
  await commandSender(["true"]).send(notice, neverAborted);
  const stop = new AbortController();
  const endless = commandSender(["sleep", "1000"]).send(notice, stop.signal);
  stop.abort(new Error("time is up"));
  await expect(endless).rejects.toThrow("sleep ended with SIGKILL");
});
