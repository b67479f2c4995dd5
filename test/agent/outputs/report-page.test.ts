import { expect, test } from "vitest";
import { type ReportInput, reportPage } from "../../../agent/outputs/report-page.ts";

const empty: ReportInput = {
  title: "plan on rig",
  verdict: "none",
  summary: "No flat was finished.",
  facts: [],
  reasons: [],
  figures: [],
  pictures: [],
  charts: [],
  dust: [],
  notes: [],
  settings: [],
};

test("a run that made nothing still has a page, with its verdict and the caution", () => {
  const page = reportPage(empty);
  expect(page).toContain('<span class="tag none">no flat</span>');
  expect(page).toContain("Never look at the Sun");
  expect(page).not.toContain("<h2>");
});

test("what comes from files and devices cannot become markup", () => {
  const evil = `<script>alert("x")</script>`;
  const page = reportPage({
    ...empty,
    title: evil,
    facts: [[evil, evil]],
    reasons: [evil],
    rehearsal: evil,
    links: [evil],
    notes: [{ clock: "10:00", text: evil }],
    settings: [{ device: evil, key: evil, before: evil, after: evil, same: false }],
  });
  expect(page).not.toContain("<script>");
  expect(page).toContain("&lt;script&gt;");
});

test("the page needs nothing from outside", () => {
  const page = reportPage({
    ...empty,
    pictures: [{ title: "flat", caption: "", png: new Uint8Array([1, 2, 3]) }],
    charts: [{ title: "chart", caption: "", svg: "<svg></svg>" }],
  });
  expect(page).toContain("data:image/png;base64,AQID");
  expect([...page.matchAll(/(?:src|href)="(?!data:)/g)]).toEqual([]);
});

test("settings that are not as before come first and are counted", () => {
  const setting = { device: "Camera", key: "gain", before: "120", after: "120", same: true };
  const page = reportPage({
    ...empty,
    settings: [setting, { ...setting, key: "offset", after: "9", same: false }],
  });
  expect(page).toContain("1 of 2 settings differ from before.");
  expect(page.indexOf("offset")).toBeLessThan(page.indexOf(">gain<"));
});

test("a caption that is a question gets no full stop behind its mark", () => {
  const chart = { caption: "", svg: "<svg></svg>" };
  const page = reportPage({
    ...empty,
    charts: [
      { ...chart, title: "Is it even?" },
      { ...chart, title: "Levels" },
    ],
  });
  expect(page).toContain("<b>Is it even?</b>");
  expect(page).toContain("<b>Levels.</b>");
});
