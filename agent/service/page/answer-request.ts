import { createHash } from "node:crypto";
import { isIP } from "node:net";
import { pageStyle } from "../../outputs/page-shell.ts";
import { actPage, signInPage } from "./act-page.ts";
import { answerPost, postPaths } from "./answer-act.ts";
import type { LivePage } from "./live-page.ts";
import { formatMetrics } from "./metrics.ts";
import { gatherFacts, type PageFacts, type PageSource } from "./page-facts.ts";
import { pageScript } from "./page-script.ts";
import { findRunFile, type RunFile } from "./run-files.ts";
import { statusPage } from "./status-page.ts";

export interface PageRequest {
  readonly method: string;
  /** As it stands in the request's first line. */
  readonly target: string;
  readonly host: string | undefined;
  readonly origin?: string | undefined;
  readonly cookie?: string | undefined;
  readonly authorization?: string | undefined;
  readonly contentType?: string | undefined;
  /** Of what is posted; asked for only when it is wanted. @returns `undefined` when it is too long */
  readBody(): Promise<string | undefined>;
}

export interface PageAnswer {
  readonly status: number;
  readonly headers: Readonly<Record<string, string>>;
  readonly body: string | RunFile | LivePage;
}

/** A page that is left open shows the present, even where its script could not be loaded [s]. */
const renewSeconds = 300;

const always = {
  "cache-control": "no-store",
  "cross-origin-resource-policy": "same-origin",
  "referrer-policy": "no-referrer",
  "x-content-type-options": "nosniff",
};
const nothing = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
const ownStyle = `${nothing}; style-src 'sha256-${createHash("sha256").update(pageStyle).digest("base64")}'`;
/** Reports have their pictures inside and colours on their charts' elements; scripts run in none of them. */
const ofReport = `${nothing}; style-src 'unsafe-inline'; img-src data:; sandbox allow-downloads`;

/** What each request gets. Reading is the same whoever asks; acting needs a proof, and is there only where a token is. */
export async function answerRequest(
  request: PageRequest,
  source: PageSource,
  live: LivePage,
): Promise<PageAnswer> {
  const { method, target, host, origin } = request;
  const { acting } = source;
  if (!isOwnHost(host)) return words(421, "Ask for it by the address of this computer, or as localhost.");
  if (acting && method === "POST" && postPaths.some((path) => path === target)) {
    const body = await request.readBody();
    if (body === undefined) return words(413, "That is too long.");
    const answer = answerPost(
      {
        cookie: undefined,
        authorization: undefined,
        origin: undefined,
        contentType: undefined,
        ...request,
        host: host!,
        path: target,
        body,
      },
      acting,
    );
    return {
      status: answer.status,
      headers: { ...always, ...plain, ...answer.headers },
      body: answer.text === "" ? "" : `${answer.text}\n`,
    };
  }
  if (method !== "GET" && method !== "HEAD")
    return { ...words(405, "It is only to be read."), headers: { ...always, ...plain, allow: "GET, HEAD" } };
  const parts = partsOf(target);
  if (!parts) return words(400, "That is no path.");
  if (target === "/page.js") return { status: 200, headers: { ...always, ...ofScript }, body: pageScript };
  if (target === "/live") {
    if (origin !== undefined && origin !== `http://${host}`) return words(403, "It is for our own page.");
    return live.isFull
      ? words(503, "Too many watch it already.")
      : { status: 200, headers: { ...always, ...ofEvents }, body: live };
  }
  if (parts[0] === "runs") return await runFile(source, parts.slice(1));
  const make = parts.length === 1 ? pages.get(parts[0]!) : undefined;
  if (!make) return words(404, "There is nothing here.");
  const facts = gatherFacts(source);
  if (!facts) return words(503, "The service is starting.");
  if (make !== showAct) return await make(facts, request, source);
  return acting ? showAct(facts, request, source) : words(404, "There is nothing here.");
}

const plain = { "content-type": "text/plain; charset=utf-8", "content-security-policy": nothing };

const ofScript = { ...plain, "content-type": "text/javascript; charset=utf-8" };
const ofEvents = { ...plain, "content-type": "text/event-stream" };

function words(status: number, text: string): PageAnswer {
  return { status, headers: { ...always, ...plain }, body: `${text}\n` };
}

/** A foreign name that leads here is another site's way to read us; numbers can't be made to lead elsewhere. */
function isOwnHost(host: string | undefined): boolean {
  const [, bracketed, name] = /^(?:\[([0-9a-f:.]+)\]|([^:@/\s]+))(?::\d{1,5})?$/i.exec(host ?? "") ?? [];
  return bracketed === undefined
    ? name?.toLowerCase() === "localhost" || isIP(name ?? "") === 4
    : isIP(bracketed) === 6;
}

/** Decoded once; `undefined` for what is no path of ours, whatever it would mean to somebody else. */
function partsOf(target: string): readonly string[] | undefined {
  const [path = ""] = target.split("?", 1);
  if (!path.startsWith("/") || path.includes("//")) return undefined;
  try {
    const parts = path.slice(1).split("/").map(decodeURIComponent);
    return parts.some((part) => /[/\\\0]|^\.\.?$/.test(part)) ? undefined : parts;
  } catch {
    return undefined;
  }
}

type ShowFacts = (
  facts: PageFacts,
  request: PageRequest,
  source: PageSource,
) => PageAnswer | Promise<PageAnswer>;
const pages = new Map<string, ShowFacts>([
  ["", showPage],
  ["health", showHealth],
  ["metrics", showMetrics],
  ["act", showAct],
]);

function showPage(facts: PageFacts, _: PageRequest, { acting }: PageSource): PageAnswer {
  const headers = {
    ...always,
    "content-type": "text/html; charset=utf-8",
    "content-security-policy": `${ownStyle}; script-src 'self'; connect-src 'self'`,
    refresh: String(renewSeconds),
  };
  return { status: 200, headers, body: statusPage(facts, { canAct: acting !== undefined }) };
}

/** Forms go only here; it does not renew itself, since somebody may be writing into it. */
function showAct(facts: PageFacts, request: PageRequest, { acting }: PageSource): PageAnswer {
  const { cookie, authorization } = request;
  const isIn = acting?.door.mayAct({ cookie, authorization }) === "by session";
  const headers = {
    ...always,
    // Under `no-referrer` a browser posts a form with the origin "null", as if it were from nowhere.
    "referrer-policy": "same-origin",
    "content-type": "text/html; charset=utf-8",
    "content-security-policy": ownStyle.replace("form-action 'none'", "form-action 'self'"),
  };
  return { status: 200, headers, body: isIn ? actPage(facts) : signInPage(facts.rig) };
}

function showHealth({ rig, status }: PageFacts): PageAnswer {
  const { state, sinceUtcMs, untilUtcMs, because, whatToDo = null, fileTrouble = null } = status;
  const times = { sinceUtc: iso(sinceUtcMs), untilUtc: iso(untilUtcMs) };
  const headers = { ...always, ...plain, "content-type": "application/json" };
  return {
    status: 200,
    headers,
    body: `${JSON.stringify({ rig, state, ...times, because, whatToDo, fileTrouble })}\n`,
  };
}

async function showMetrics(facts: PageFacts): Promise<PageAnswer> {
  const { contentType, text } = await formatMetrics(facts);
  return { status: 200, headers: { ...always, ...plain, "content-type": contentType }, body: text };
}

async function runFile({ runsFolder }: PageSource, parts: readonly string[]): Promise<PageAnswer> {
  const found = await findRunFile(runsFolder, parts);
  if (!found) return words(404, "There is nothing here.");
  const headers = {
    ...always,
    "content-type": found.contentType,
    "content-security-policy": found.contentType.startsWith("text/html") ? ofReport : nothing,
  };
  return { status: 200, headers, body: found };
}

function iso(utcMs: number | undefined): string | null {
  return utcMs === undefined ? null : new Date(utcMs).toISOString();
}
