/* The same work in plain C: mean, clipped mean and median of 16-bit FITS frames of one HDU, two threads.
 *   stack files METHOD OUT FILES...         from the files, tile by tile, to OUT (value, sigma as float32, mask)
 *   stack memory METHOD OUT TIMES FILES...  all frames in memory; prints the milliseconds of each time; method r only
 *                                           reads them, and writes nothing
 *   stack read FILES...                     reads all files once
 * A median is quickselect of the pixel's values, as one writes it. */
#include <fcntl.h>
#include <math.h>
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { TILE = 16384, BLOCK = 512 };
static int frames, *handles, memory;
static long pixels;
static char method;
static uint16_t **kept; /* memory: all of every frame, native */
static float *value, *sigma;
static uint8_t *mask;
static long next;
static uint32_t all; /* so that what is only read is not left out */

static double now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return t.tv_sec * 1e3 + t.tv_nsec / 1e6;
}

static uint16_t quickselect(uint16_t *v, int n, int k) {
  int left = 0, right = n - 1;
  while (left < right) {
    uint16_t pivot = v[(left + right) >> 1];
    int i = left, j = right;
    while (i <= j) {
      while (v[i] < pivot) i++;
      while (v[j] > pivot) j--;
      if (i > j) break;
      uint16_t swap = v[i];
      v[i++] = v[j];
      v[j--] = swap;
    }
    if (k <= j) right = j;
    else if (k >= i) left = i;
    else break;
  }
  return v[k];
}

static double median(uint16_t *v, int n) {
  uint16_t upper = quickselect(v, n, n / 2), lower = 0;
  if (n & 1) return upper;
  for (int i = 0; i < n / 2; i++)
    if (v[i] > lower) lower = v[i];
  return (lower + upper) / 2.0;
}

/* Frames in blocks of BLOCK pixels, so that the running sums stay in the cache. */
static void combine(uint16_t *const *in, long count, float *val, float *sig, uint8_t *bad) {
  static __thread uint32_t sum[BLOCK];
  static __thread uint64_t squares[BLOCK];
  uint16_t v[frames], w[frames];
  for (long start = 0; start < count; start += BLOCK) {
    int length = count - start < BLOCK ? count - start : BLOCK;
    memset(sum, 0, sizeof sum);
    memset(squares, 0, sizeof squares);
    for (int f = 0; f < frames; f++) {
      const uint16_t *restrict p = in[f] + start;
      if (method == 's')
        for (int i = 0; i < length; i++) sum[i] += p[i];
      else
        for (int i = 0; i < length; i++) {
          sum[i] += p[i];
          squares[i] += (uint32_t)p[i] * p[i];
        }
    }
    for (int i = 0; i < length; i++) {
      double n = frames, mean = sum[i] / n;
      if (method == 's') {
        val[start + i] = mean;
        continue;
      }
      double std = sqrt(fmax(0, n * squares[i] - (double)sum[i] * sum[i])) / n;
      val[start + i] = mean;
      int left = frames;
      if (method != 'a') {
        for (int f = 0; f < frames; f++) w[f] = v[f] = in[f][start + i];
        double middle = median(w, frames);
        if (method == 'm') val[start + i] = middle;
        else {
          double low = middle - 3 * std, high = middle + 3 * std;
          uint64_t s = 0, q = 0;
          left = 0;
          for (int f = 0; f < frames; f++)
            if (v[f] >= low && v[f] <= high) {
              s += v[f];
              q += (uint32_t)v[f] * v[f];
              left++;
            }
          val[start + i] = (double)s / left;
          std = sqrt(fmax(0, (double)left * q - (double)s * s)) / left;
        }
      }
      sig[start + i] = std / sqrt(left);
      bad[start + i] = 2 * left < frames ? 8 : 0;
    }
  }
}

static void *work(void *_) {
  uint16_t *in[frames], *room = memory ? 0 : malloc(2L * TILE * frames);
  for (;;) {
    long start = __sync_fetch_and_add(&next, TILE);
    if (start >= pixels) break;
    long count = pixels - start < TILE ? pixels - start : TILE;
    for (int f = 0; f < frames; f++) {
      if (memory) {
        in[f] = kept[f] + start;
        continue;
      }
      uint16_t *p = in[f] = room + (long)f * TILE;
      if (pread(handles[f], p, 2 * count, 2880 + 2 * start) != 2 * count) exit(1);
      for (long i = 0; i < count; i++) p[i] = __builtin_bswap16(p[i]) ^ 0x8000;
    }
    if (method == 'r') {
      uint32_t sum = 0;
      for (int f = 0; f < frames; f++)
        for (long i = 0; i < count; i++) sum += in[f][i];
      __sync_fetch_and_add(&all, sum);
      continue;
    }
    combine(in, count, value + start, sigma + start, mask + start);
  }
  free(room);
  return _;
}

static void *readAll(void *_) {
  char *room = malloc(1 << 20);
  for (;;) {
    long f = __sync_fetch_and_add(&next, 1);
    if (f >= frames) break;
    for (long at = 0, got; (got = pread(handles[f], room, 1 << 20, at)) > 0;) at += got;
  }
  return _;
}

static void twoThreads(void *(*job)(void *)) {
  pthread_t other;
  next = 0;
  pthread_create(&other, 0, job, 0);
  job(0);
  pthread_join(other, 0);
}

int main(int argc, char **argv) {
  int first = argv[1][0] == 'r' ? 2 : argv[1][0] == 'm' ? 5 : 4;
  frames = argc - first;
  handles = malloc(sizeof(int) * frames);
  struct stat s;
  for (int f = 0; f < frames; f++) handles[f] = open(argv[first + f], O_RDONLY);
  if (argv[1][0] == 'r') {
    double start = now();
    twoThreads(readAll);
    printf("%f\n", now() - start);
    return 0;
  }
  char header[2880];
  if (pread(handles[0], header, 2880, 0) != 2880) return 1;
  pixels = 1;
  for (int card = 0; card < 36; card++)
    if (!memcmp(header + 80 * card, "NAXIS1 ", 7) || !memcmp(header + 80 * card, "NAXIS2 ", 7))
      pixels *= atol(header + 80 * card + 10);
  method = argv[2][0];
  memory = argv[1][0] == 'm';
  value = malloc(4 * pixels);
  sigma = malloc(4 * pixels);
  mask = malloc(pixels);
  if (memory) {
    kept = malloc(sizeof(void *) * frames);
    for (int f = 0; f < frames; f++) {
      kept[f] = malloc(2 * pixels);
      if (pread(handles[f], kept[f], 2 * pixels, 2880) != 2 * pixels) return 1;
      for (long i = 0; i < pixels; i++) kept[f][i] = __builtin_bswap16(kept[f][i]) ^ 0x8000;
    }
  }
  for (int times = memory ? atoi(argv[4]) : 1; times > 0; times--) {
    double start = now();
    twoThreads(work);
    if (memory) printf("%f\n", now() - start);
  }
  if (method == 'r') return 0;
  FILE *out = fopen(argv[3], "wb");
  fwrite(value, 4, pixels, out);
  if (method != 's') {
    fwrite(sigma, 4, pixels, out);
    fwrite(mask, 1, pixels, out);
  }
  fflush(out);
  if (!memory) fsync(fileno(out));
  return fclose(out);
}
