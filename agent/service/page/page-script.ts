/**
 * What the browser runs, as it is: it puts what has changed in the place of what stood there, and says so when it hears nothing.
 * Where no script runs the page renews itself as a whole.
 */
export const pageScript = `"use strict";
{
  const oldAfterMs = 45000;
  const main = document.querySelector("main");
  const note = document.createElement("p");
  note.setAttribute("role", "status");
  const beside = document.createElement("aside");
  beside.setAttribute("aria-label", "connection");
  beside.append(note);
  document.body.prepend(beside);
  let heardMs = Date.now();

  const take = (html) => {
    const page = new DOMParser().parseFromString(html, "text/html");
    const next = page.querySelector("main");
    document.title = page.title;
    const link = main.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
    const have = [...main.children];
    const come = [...next.children];
    if (have.length !== come.length) main.replaceChildren(...come);
    else have.forEach((one, index) => one.isEqualNode(come[index]) || one.replaceWith(come[index]));
    if (link === null || main.contains(document.activeElement)) return;
    [...main.querySelectorAll("a")].find((a) => a.getAttribute("href") === link)?.focus({ preventScroll: true });
  };
  const heard = () => {
    heardMs = Date.now();
    if (note.textContent !== "") note.textContent = "";
    note.className = "";
  };
  const watch = () => {
    const source = new EventSource("/live");
    source.onmessage = ({ data }) => { heard(); take(JSON.parse(data)); };
    source.addEventListener("still", heard);
    source.onerror = () => { if (source.readyState === EventSource.CLOSED) setTimeout(watch, 10000); };
  };
  setInterval(() => {
    if (Date.now() - heardMs < oldAfterMs || note.textContent !== "") return;
    note.className = "caution";
    note.textContent = "Nothing has come from the service for a while: what stands here may be old.";
  }, 5000);
  watch();
}
`;
