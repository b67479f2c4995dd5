/* read-memory FRAMES BYTES TIMES: milliseconds that reading one of so many frames in memory takes, their sum as 16-bit
 * numbers so that nothing is left out. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static double now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return t.tv_sec * 1e3 + t.tv_nsec / 1e6;
}

int main(int argc, char **argv) {
  long frames = atol(argv[1]), n = atol(argv[2]) / 2, times = atol(argv[3]);
  uint16_t **frame = malloc(frames * sizeof *frame);
  for (long f = 0; f < frames; f++) {
    frame[f] = malloc(2 * n);
    for (long i = 0; i < n; i++) frame[f][i] = i + f;
  }
  volatile uint32_t kept = 0;
  double start = now();
  for (long time = 0; time < times; time++)
    for (long f = 0; f < frames; f++) {
      uint32_t sum = 0;
      for (long i = 0; i < n; i++) sum += frame[f][i];
      kept += sum;
    }
  printf("%f\n", (now() - start) / times / frames);
  return 0;
}
