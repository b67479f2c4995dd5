/** How long anything in a test may take [ms]: so long that the busiest machine gets there, and only what hangs does not. */
export const onlyAHangMs = 1_800_000;
