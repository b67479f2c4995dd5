/** The files to start from that come with the program, by path below `plans`; those that name each other keep their places. */
export const exampleFiles = [
  "first-flat.yaml",
  "flat-by-defocus.yaml",
  "flat-by-drift.yaml",
  "images-all-day.yaml",
  "rig-example.yaml",
  "demo-rig.yaml",
  "demo-rig-alpaca.yaml",
  "close-up-rig.yaml",
  "defocus-rig.yaml",
  "scenes/close-up.yaml",
  "scenes/defocus.yaml",
  "serve/each-clear-day.yaml",
  "serve/notices-example.yaml",
  "serve/alerts.yml",
  "serve/evenfield.service",
  "serve/rigs.html",
] as const;
