import { htmlPage, section } from "../../outputs/page-shell.ts";
import { safeHtml } from "../../outputs/safe-html.ts";
import { cautionText } from "../../safing/caution.ts";
import { localText } from "../schedule/local-day.ts";
import type { PageFacts } from "./page-facts.ts";

/** Where a person who has signed in acts; by forms alone, without a script. */
export function actPage({ rig, status, timeZone }: PageFacts): string {
  const { state, because, sinceUtcMs, whatToDo } = status;
  const now = `${state} since ${localText(sinceUtcMs, timeZone)}: ${because}.${whatToDo === undefined ? "" : ` ${whatToDo}`}`;
  const body = `<header><h1>${safeHtml(rig)}</h1><p class="summary">${safeHtml(now)}</p><p><a href="/">How it stands</a></p></header>
${section(
  "Stop",
  form(
    "stop",
    "What goes on settles, the telescope is covered, and what was changed is put back. Then nothing begins until somebody lets it go on.",
    "Stop and put back",
  ),
)}
${section("Hold", form("hold", "What goes on is finished. Then nothing begins until somebody lets it go on.", "Begin nothing more"))}
${section("Go on", form("go-on", "Ends what a person has stopped or held, and nothing else: not what the rig or its filter is held for.", "Let it go on"))}
${section(
  "The Sun filter was inspected",
  form(
    "filter-inspected",
    `Only when you had it in front of you, on the covered telescope, turned away from the Sun. Its maker's guidance and the rules at the site come before ours.`,
    "Write down that it was inspected now",
    `<p><label><input type="checkbox" name="inspected" value="yes" required> I inspected it: no hole, no scratch, firmly seated, and made for this instrument.</label></p>`,
  ),
)}
${section("Leave", `<form method="post" action="/sign-out"><p><button>Sign out</button></p></form>`)}
<p class="caution">${cautionText}</p>`;
  return htmlPage({ title: `${rig}: act`, body });
}

function form(deed: string, says: string, button: string, more = ""): string {
  return `<form method="post" action="/deeds"><input type="hidden" name="deed" value="${deed}"><p>${safeHtml(says)}</p>${more}
<p><label>Your name: <input name="who" required maxlength="60" autocomplete="name"></label> <button>${safeHtml(button)}</button></p></form>`;
}

export function signInPage(rig: string): string {
  const body = `<header><h1>${safeHtml(rig)}</h1><p class="summary">Who acts on this rig signs in with its token.</p></header>
<form method="post" action="/sign-in"><p><label>Token: <input type="password" name="token" required autocomplete="current-password"></label> <button>Sign in</button></p></form>
<p><a href="/">How it stands</a></p><p class="caution">${cautionText}</p>`;
  return htmlPage({ title: `${rig}: sign in`, body });
}
