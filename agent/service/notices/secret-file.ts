import { readFileSync, statSync } from "node:fs";

/** Texts that must not stand in any message, and have been read. */
const secrets = new Set<string>();

/**
 * The first line of a file that only its owner may read. Read anew each time, so that it may be changed.
 * @throws Error which says what is wrong with the file, never what is in it
 */
export function readSecret(file: string): string {
  const { mode } = statSync(file);
  if ((mode & 0o077) !== 0) throw new Error(`others may read ${file}: chmod 600 it`);
  const [secret = ""] = readFileSync(file, "utf8").split(/\r?\n/);
  if (secret === "") throw new Error(`${file} is empty`);
  secrets.add(secret);
  return secret;
}

/** A message without what was read from such files: libraries put it into theirs. */
export function withoutSecrets(text: string): string {
  let clean = text;
  for (const secret of secrets)
    for (const form of [secret, encodeURIComponent(secret), Buffer.from(secret).toString("base64")])
      clean = clean.replaceAll(form, "[secret]");
  return clean;
}
