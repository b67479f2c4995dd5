export type FrameType = "light" | "dark" | "bias" | "flat";
