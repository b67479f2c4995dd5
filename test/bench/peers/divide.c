/* Flat division in plain C.
 *   divide memory TIMES PIXELS FOLDER            one image in memory, one thread; milliseconds of each time
 *   divide files OUT FACTOR PIXELS FILES...      uint16 FITS files of one HDU to files of the same kind in OUT */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static double now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return t.tv_sec * 1e3 + t.tv_nsec / 1e6;
}

static void divide(const uint16_t *restrict in, const float *restrict factor, const float *restrict dark,
                   float pedestal, uint16_t *restrict out, long n) {
  for (long i = 0; i < n; i++) {
    float v = floorf(((float)in[i] - dark[i]) * factor[i] + pedestal + 0.5f);
    out[i] = v < 0 ? 0 : v > 65535 ? 65535 : (uint16_t)v;
  }
}

static void *read_whole(const char *folder, const char *name, long bytes) {
  char path[4096];
  snprintf(path, sizeof path, "%s/%s", folder, name);
  FILE *f = fopen(path, "rb");
  void *data = malloc(bytes);
  if (!f || fread(data, 1, bytes, f) != (size_t)bytes) exit(1);
  fclose(f);
  return data;
}

int main(int argc, char **argv) {
  long n = atol(argv[1][0] == 'm' ? argv[3] : argv[4]);
  if (argv[1][0] == 'm') {
    uint16_t *in = read_whole(argv[4], "image.u16", 2 * n), *out = malloc(2 * n);
    float *factor = read_whole(argv[4], "factor.f32", 4 * n), *dark = read_whole(argv[4], "dark.f32", 4 * n);
    memset(out, 1, 2 * n);
    for (int times = atoi(argv[2]); times > 0; times--) {
      double start = now();
      divide(in, factor, dark, 300, out, n);
      printf("%f\n", now() - start);
    }
    char path[4096];
    snprintf(path, sizeof path, "%s/c.u16", argv[4]);
    FILE *f = fopen(path, "wb");
    fwrite(out, 2, n, f);
    return fclose(f);
  }
  float *factor = read_whole(argv[3], "factor.f32", 4 * n), *dark = calloc(n, 4);
  long padded = (2880 + 2 * n + 2879) / 2880 * 2880;
  uint8_t *file = malloc(padded);
  uint16_t *in = (uint16_t *)(file + 2880);
  for (int f = 5; f < argc; f++) {
    char path[4096];
    FILE *from = fopen(argv[f], "rb");
    if (fread(file, 1, padded, from) != (size_t)padded) return 1;
    fclose(from);
    for (long i = 0; i < n; i++) in[i] = __builtin_bswap16(in[i]) ^ 0x8000;
    divide(in, factor, dark, 0, in, n);
    for (long i = 0; i < n; i++) in[i] = __builtin_bswap16(in[i] ^ 0x8000);
    snprintf(path, sizeof path, "%s/%s", argv[2], strrchr(argv[f], '/') + 1);
    FILE *to = fopen(path, "wb");
    fwrite(file, 1, padded, to);
    fclose(to);
  }
  return 0;
}
