const entities: Record<string, string> = {
  "&": "&amp;",
  "<": "&lt;",
  ">": "&gt;",
  '"': "&quot;",
  "'": "&#39;",
};

/** Text made safe to stand in HTML or SVG, in content or in a quoted attribute. */
export function safeHtml(text: string): string {
  return text.replace(/[&<>"']/g, (character) => entities[character]!);
}
