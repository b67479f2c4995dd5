/** What drivers and procedures write to. The agent's wiring gives pino; tests may collect. */
export interface Log {
  debug(fields: object, message: string): void;
  info(fields: object, message: string): void;
  warn(fields: object, message: string): void;
  error(fields: object, message: string): void;
}

export const silentLog: Log = { debug() {}, info() {}, warn() {}, error() {} };
