/** What the help lists, in its order: known before a command is loaded, for loading all of them takes most of a second. */
export const commandList = {
  init: "asks a few questions, looks for the devices, and writes a rig file to be completed by you",
  examples: "write the plan, rig, scene and schedule files that come with the program, to start from",
  run: "carry a plan out on a rig; Ctrl-C once stops in good order and puts the rig back",
  serve: "run a rig by a schedule, for months; SIGTERM or Ctrl-C ends in good order",
  schedule: "what a schedule would do on a rig in the next days, and why it would not",
  notices: "who is told what of a rig that runs by a schedule; --try sends each of them a notice",
  fleet: "how all rigs on an MQTT broker stand, as a table and on one page",
  drill:
    "with a person at the telescope: what becomes of the open rig when the agent, its link or its terminal is gone",
  rehearse:
    "a plan, or days of a schedule, on simulated devices; then hold the result against their true values",
  check: "whether a plan fits a rig, the Sun and the filter's statement, without its devices",
  probe: "connect to a rig and say what each device can do and which plans could run now; changes nothing",
  find: "device servers on the local network, both protocols; connects no device",
  sun: "where the Sun is, its size and orientation, and when it is usable today",
  combine: "make a master frame from FITS files",
  apply: "divide images and sequences by a flat",
  calibrate: "sort a folder of files, make its masters, divide its images; leaves one page and one table",
  inspect: "quality figures and verdict of flats, darks and images",
  match: "the master flat that fits an image, or why none does",
  restore: "put back what an unfinished run left changed on a rig",
  keep: "make a rig safe when the agent that works with it is gone or silent",
  simulate: "simulated devices on loopback for any client, until Ctrl-C",
} as const;
