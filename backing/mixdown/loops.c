/* The innermost loops of the mixdown: a plain C library, called through ctypes (loops.py).

   Sound is float32, interleaved stereo. Callers check that the arrays are as long as the loops read
   and write. Nothing is shared between calls, so any thread may make them. Built without fused or
   reordered sums (-ffp-contract=off): the result depends on the arguments alone. */

#include <float.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#if FLT_EVAL_METHOD < 0 || FLT_EVAL_METHOD == 1 || FLT_EVAL_METHOD == 2
#error "This compiler does not calculate floats in 32 bits."
#endif

#ifdef _WIN32
#define API __declspec(dllexport)
#else
#define API
#endif

/* Versions for wider registers, chosen when the library is loaded. GCC 11 and older don't know
   these names. */
#if defined(__x86_64__) && defined(__linux__) && defined(__GLIBC__) && \
    ((defined(__clang__) && __clang_major__ >= 17) || (!defined(__clang__) && __GNUC__ >= 12))
#define WIDE __attribute__((target_clones("arch=x86-64-v4", "arch=x86-64-v3", "default")))
#else
#define WIDE
#endif

#define BLOCK 64 /* samples from edge to edge of an envelope: synth.BLOCK */
#define CHANNELS 2
#define MOST_LAGS 4
#define AT_ONCE 16384 /* frames mixed at a time: they stay in a processor's cache */

static inline int64_t least(int64_t a, int64_t b) { return a < b ? a : b; }
static inline int64_t most(int64_t a, int64_t b) { return a > b ? a : b; }

/* ---- mixing notes --------------------------------------------------------------------------- */

/* A note of the bank held for `hold` samples and let go, `length` samples in all.

   From `hold` on it is multiplied by the envelope `edges`, straight lines from block to block. If
   `lags` is not 0, the release is filtered: the sum of the note, of it one sample later and so on,
   each with its own envelope `lag_edges`; from `late_from` on each with `edges` times its tap. */
typedef struct {
    const float *samples, *edges, *lag_edges[MOST_LAGS];
    int64_t hold, length, late_from;
    float gain, taps[MOST_LAGS];
    int32_t lags;
} Note;

static WIDE void add_held(float *restrict out, const float *restrict samples, int64_t frames,
                          float gain, float left, float right) {
    for (int64_t i = 0; i < frames; i++) {
        out[2 * i] += samples[2 * i] * gain * left;
        out[2 * i + 1] += samples[2 * i + 1] * gain * right;
    }
}

/* `frames` of a release, from sample `first` of the block that begins at `edges`. */
static WIDE void add_falling(float *restrict out, const float *restrict samples, int64_t frames,
                             int64_t first, const float *edges, float gain, float left,
                             float right) {
    while (frames > 0) {
        const int count = (int)least(frames, BLOCK - first), from = (int)first;
        const float edge = edges[0], step = edges[1] - edges[0];
        for (int i = 0; i < count; i++) {
            const float fall = (step * ((float)(from + i) / BLOCK) + edge) * gain;
            out[2 * i] += samples[2 * i] * fall * left;
            out[2 * i + 1] += samples[2 * i + 1] * fall * right;
        }
        out += CHANNELS * count;
        samples += CHANNELS * count;
        frames -= count;
        first = 0;
        edges++;
    }
}

/* One lag of a filtered release, within a block. */
static WIDE void add_lag(float *restrict falling, const float *restrict samples, int frames,
                         int first, const float *edges, float gain) {
    const float edge = edges[0], step = edges[1] - edges[0];
    for (int i = 0; i < frames; i++) {
        const float fall = (step * ((float)(first + i) / BLOCK) + edge) * gain;
        falling[2 * i] += samples[2 * i] * fall;
        falling[2 * i + 1] += samples[2 * i + 1] * fall;
    }
}

/* The samples [start, stop) of a filtered release, block by block. */
static void add_filtered(const Note *note, float *out, int64_t start, int64_t stop, float left,
                         float right) {
    for (int64_t at = start; at < stop;) {
        const int64_t since = at - note->hold, first = since % BLOCK;
        const int late = at >= note->late_from;
        int64_t end = least(stop, at + BLOCK - first);
        if (!late) end = least(end, note->late_from);
        const int64_t frames = end - at;
        float falling[CHANNELS * BLOCK] = {0};
        for (int lag = 0; lag < note->lags; lag++) {
            const int64_t silent = most(0, lag - at); /* before the note there is nothing */
            if (silent >= frames) continue;
            const float *edges = late ? note->edges : note->lag_edges[lag];
            add_lag(falling + CHANNELS * silent, note->samples + CHANNELS * (at + silent - lag),
                    (int)(frames - silent), (int)(first + silent), edges + since / BLOCK,
                    late ? note->gain * note->taps[lag] : 1.0f);
        }
        float *to = out + CHANNELS * (at - start);
        for (int64_t i = 0; i < frames; i++) {
            to[2 * i] += falling[2 * i] * left;
            to[2 * i + 1] += falling[2 * i + 1] * right;
        }
        at = end;
    }
}

/* The samples [start, stop) of a note. */
static void add_note(const Note *note, float *out, int64_t start, int64_t stop, float left,
                     float right) {
    const int64_t let_go = least(most(start, note->hold), stop);
    if (start < let_go)
        add_held(out, note->samples + CHANNELS * start, let_go - start, note->gain, left, right);
    if (let_go >= stop) return;
    float *rest = out + CHANNELS * (let_go - start);
    const int64_t since = let_go - note->hold;
    if (note->lags)
        add_filtered(note, rest, let_go, stop, left, right);
    else
        add_falling(rest, note->samples + CHANNELS * let_go, stop - let_go, since % BLOCK,
                    note->edges + since / BLOCK, note->gain, left, right);
}

/* Add notes to the frames of `out`, whose first is frame `start` of the track: note `which[n]` of
   `notes` sounds in the frames [onsets[n], ends[n]), times `left` and `right`. */
API void add_notes(float *out, int64_t frames, int64_t start, const Note *notes,
                   const int64_t *onsets, const int64_t *ends, const int64_t *which, int64_t count,
                   float left, float right) {
    for (int64_t from = 0; from < frames; from += AT_ONCE) {
        const int64_t first = start + from, last = start + least(frames, from + AT_ONCE);
        for (int64_t at = 0; at < count; at++) {
            const int64_t begin = most(onsets[at], first), end = least(ends[at], last);
            if (begin < end)
                add_note(&notes[which[at]], out + CHANNELS * (begin - start), begin - onsets[at],
                         end - onsets[at], left, right);
        }
    }
}

/* ---- fitting releases ----------------------------------------------------------------------- */

#define PAIR (CHANNELS * BLOCK)
#define SIDE_BY_SIDE 8 /* sums at once: they fill wide registers */

/* The sum of the products of two sounds in each block. */
API WIDE void block_products(const float *a, const float *b, int64_t blocks, double *out) {
    for (int64_t at = 0; at < blocks; at++, a += PAIR, b += PAIR) {
        double sums[SIDE_BY_SIDE] = {0}, sum = 0;
        for (int i = 0; i < PAIR; i += SIDE_BY_SIDE)
            for (int k = 0; k < SIDE_BY_SIDE; k++) sums[k] += (double)a[i + k] * (double)b[i + k];
        for (int k = 0; k < SIDE_BY_SIDE; k++) sum += sums[k];
        out[at] = sum;
    }
}

/* The energy of `heard` less `held` times the envelope `edges` (one more than blocks). */
API WIDE double misfit(const float *held, const float *heard, int64_t blocks, const float *edges) {
    double sums[SIDE_BY_SIDE] = {0}, sum = 0;
    for (int64_t at = 0; at < blocks; at++, held += PAIR, heard += PAIR) {
        const float edge = edges[at], step = edges[at + 1] - edges[at];
        for (int i = 0; i < PAIR; i += SIDE_BY_SIDE)
            for (int k = 0; k < SIDE_BY_SIDE; k++) {
                const float fall = step * ((float)((i + k) / CHANNELS) / BLOCK) + edge;
                const float rest = heard[i + k] - held[i + k] * fall;
                sums[k] += (double)rest * (double)rest;
            }
    }
    for (int k = 0; k < SIDE_BY_SIDE; k++) sum += sums[k];
    return sum;
}

/* Where the parabola through three points is lowest, between the outer two. */
static double lowest(const double *place, const double *value) {
    const double before = place[1] - place[0], after = place[1] - place[2];
    const double rise = value[1] - value[2], fall = value[1] - value[0];
    const double top = before * before * rise - after * after * fall;
    const double bottom = before * rise - after * fall;
    if (bottom >= 0 || before == 0 || after == 0) { /* no valley */
        const int best = value[1] < value[0] ? 1 : 0;
        return place[value[2] < value[best] ? 2 : best];
    }
    const double found = place[1] - top / bottom / 2;
    return found < place[0] ? place[0] : found > place[2] ? place[2] : found;
}

#define MOST_SLOPES 128

static WIDE void misfits(const double *power, const double *product, int64_t blocks, double level,
                         const double *falls, int64_t slopes, double *found) {
    double overlap[MOST_SLOPES] = {0}, square[MOST_SLOPES] = {0};
    for (int64_t at = 0; at < blocks; at++, falls += slopes)
        for (int64_t s = 0; s < slopes; s++) {
            overlap[s] += falls[s] * product[at];
            square[s] += falls[s] * falls[s] * power[at];
        }
    for (int64_t s = 0; s < slopes; s++) found[s] = level * (level * square[s] - 2 * overlap[s]);
}

/* The slope (dB per second, from `level`) whose fall is nearest to what is heard, by least squares:
   the best of `slopes` (3 to MOST_SLOPES, rising), then the lowest point of the parabola around it.

   `power` and `product`: of the held note with itself and with what is heard, block by block;
   `falls`: the gains of each slope, (block, slope); `nepers`: of a block at 1 dB per second. */
API double fitted_slope(const double *power, const double *product, int64_t blocks, double level,
                        double nepers, const double *slopes, const double *falls, int64_t count) {
    double found[MOST_SLOPES];
    int64_t best = 0;
    misfits(power, product, blocks, level, falls, count, found);
    for (int64_t s = 1; s < count; s++)
        if (found[s] < found[best]) best = s;
    best = least(most(best, 1), count - 2);
    const double *near = slopes + best - 1;
    const double middle = lowest(near, found + best - 1), width = (near[2] - near[0]) / 60;
    double close[3] = {middle - width, middle, middle + width}, value[3] = {0};
    close[0] = close[0] < near[0] ? near[0] : close[0];
    close[2] = close[2] > near[2] ? near[2] : close[2];
    for (int i = 0; i < 3; i++) {
        const double ratio = exp(-close[i] * nepers);
        double line = level * exp(-close[i] * nepers / 2);
        for (int64_t at = 0; at < blocks; at++, line *= ratio)
            value[i] += line * (line * power[at] - 2 * product[at]);
    }
    return lowest(close, value);
}

/* ---- loudness: the K-weighting, two biquads -------------------------------------------------- */

#define LANES 4 /* parts of the sound that are filtered side by side */

/* Transposed direct form II of both stages, for both channels of LANES parts at once. */
static WIDE void weigh(const float *const *from, int64_t hops, int64_t hop, const double *c,
                       double energies[][CHANNELS * LANES]) {
    double one[2][CHANNELS * LANES] = {{0}}, two[2][CHANNELS * LANES] = {{0}};
    for (int64_t at = 0; at < hops; at++) {
        double energy[CHANNELS * LANES] = {0};
        for (int64_t frame = at * hop; frame < (at + 1) * hop; frame++) {
            double x[CHANNELS * LANES];
            for (int lane = 0; lane < LANES; lane++) {
                x[2 * lane] = from[lane][2 * frame];
                x[2 * lane + 1] = from[lane][2 * frame + 1];
            }
            for (int i = 0; i < CHANNELS * LANES; i++) {
                const double y = c[0] * x[i] + one[0][i];
                one[0][i] = (c[1] * x[i] + one[1][i]) - c[3] * y;
                one[1][i] = c[2] * x[i] - c[4] * y;
                const double z = c[5] * y + two[0][i];
                two[0][i] = (c[6] * y + two[1][i]) - c[8] * z;
                two[1][i] = c[7] * y - c[9] * z;
                energy[i] += z * z;
            }
        }
        memcpy(energies[at], energy, sizeof energy);
    }
}

/* The weighted mean square of each hop of `hop` frames, both channels summed; `c`: b0 b1 b2 a1 a2
   of both biquads. Returns 0 if there is not enough memory.

   Beyond a hop the filter has forgotten what was before (38 Hz: by 180 dB), so the sound can be
   filtered in parts, each from one hop before its own. */
API int hop_energies(const float *sound, int64_t hops, int64_t hop, const double *c, double *out) {
    const int64_t share = (hops + LANES - 1) / LANES, frames = hop * CHANNELS;
    if (hops <= 0) return 1;
    double(*energies)[CHANNELS * LANES] = malloc((size_t)(share + 1) * sizeof *energies);
    float *beginning = calloc((size_t)((share + 1) * frames), sizeof(float));
    if (energies && beginning) {
        const float *from[LANES];
        int64_t first[LANES];
        memcpy(beginning + frames, sound, sizeof(float) * (size_t)(share * frames));
        for (int lane = 0; lane < LANES; lane++) {
            first[lane] = least(lane * share, hops - share);
            from[lane] = first[lane] ? sound + (first[lane] - 1) * frames : beginning;
        }
        weigh(from, share + 1, hop, c, energies);
        for (int lane = 0; lane < LANES; lane++)
            for (int64_t at = 0; at < share; at++) {
                const double *energy = energies[at + 1] + CHANNELS * lane;
                out[first[lane] + at] = (energy[0] + energy[1]) / (double)hop;
            }
    }
    const int done = energies && beginning;
    free(energies);
    free(beginning);
    return done;
}

/* ---- true peaks ----------------------------------------------------------------------------- */

#define HALF_TAPS 12
#define PHASES 3
#define BEFORE (HALF_TAPS - 1)
#define AROUND (BEFORE + BLOCK + HALF_TAPS) /* a chunk and the frames its peak depends on */

/* Floats without their sign, read as whole numbers, are in the same order; and the largest of
   whole numbers can be sought in wide registers. */
static float as_float(int32_t bits) {
    float number;
    memcpy(&number, &bits, sizeof number);
    return number;
}

static WIDE float largest(const float *samples, int64_t count) {
    int32_t found = 0;
    for (int64_t i = 0; i < count; i++) {
        int32_t bits;
        memcpy(&bits, samples + i, sizeof bits);
        bits &= INT32_MAX;
        found = bits > found ? bits : found;
    }
    return as_float(found);
}

/* How far any point between the samples around a chunk can lie over the line between them. */
static WIDE float overshoot(const float *around, float slope, float bend) {
    float step[CHANNELS * (AROUND - 1)], turn[CHANNELS * (AROUND - 2)];
    for (int i = 0; i < CHANNELS * (AROUND - 1); i++) step[i] = around[i + CHANNELS] - around[i];
    for (int i = 0; i < CHANNELS * (AROUND - 2); i++) turn[i] = step[i + CHANNELS] - step[i];
    return slope * largest(step, CHANNELS * (AROUND - 1)) +
           bend * largest(turn, CHANNELS * (AROUND - 2));
}

/* The largest point between the samples of a chunk; `kernel` has a row of PHASES for each tap. */
static WIDE float between(const float *around, const float *kernel) {
    float found = 0;
    for (int phase = 0; phase < PHASES; phase++) {
        float points[CHANNELS * BLOCK] = {0};
        for (int tap = 0; tap < 2 * HALF_TAPS; tap++) {
            const float weight = kernel[tap * PHASES + phase];
            for (int i = 0; i < CHANNELS * BLOCK; i++)
                points[i] += around[i + CHANNELS * tap] * weight;
        }
        const float peak = largest(points, CHANNELS * BLOCK);
        found = peak > found ? peak : found;
    }
    return found;
}

/* The true peak of each chunk of BLOCK frames if it is over `above`, otherwise any number that is
   not. `bound`, `slope` and `bend` say how high a point between samples can be. */
API void chunk_peaks(const float *frames, int64_t chunks, float above, const float *kernel,
                     float bound, float slope, float bend, float *peaks) {
    for (int64_t at = 0; at < chunks; at++) {
        const float *around = frames + CHANNELS * BLOCK * at;
        /* a point between two samples may owe its height to the neighbouring chunk */
        const float highest = largest(around, CHANNELS * AROUND);
        peaks[at] = 0;
        if (highest * bound <= above) continue;
        peaks[at] = largest(around + CHANNELS * BEFORE, CHANNELS * BLOCK);
        /* most chunks are smooth enough to be sure that nothing rises between their samples */
        if (highest + overshoot(around, slope, bend) <= above) continue;
        const float peak = between(around, kernel);
        peaks[at] = peak > peaks[at] ? peak : peaks[at];
    }
}

/* ---- the room's sample rate, a quarter of the track's ---------------------------------------- */

#define STEP 4 /* room.STEP */
#define TAPS 8 /* room.TAPS */
#define SAMPLES 512 /* of the lower rate at a time */

/* All frames of a sample of the lower rate, or a pair of sides that many times, in one register. */
typedef float Frames __attribute__((vector_size(CHANNELS * STEP * sizeof(float))));
typedef double Pairs __attribute__((vector_size(STEP * sizeof(double))));

/* `frames` of `block` in mono at the lower rate, TAPS - 1 samples longer. `taps` (TAPS, STEP,
   CHANNELS): what a sample of the lower rate takes of each frame, from the latest to the oldest. */
API WIDE void lower_rate(const float *block, int64_t frames, const float *taps, float *mono) {
    const int64_t count = frames / STEP;
    Frames kernel[TAPS];
    memcpy(kernel, taps, sizeof kernel);
    for (int64_t at = 0; at < count + TAPS - 1; at++) {
        Frames sum = {0}, four;
        const float *latest = block + CHANNELS * STEP * at;
        if (TAPS - 1 <= at && at < count) {
            for (int tap = 0; tap < TAPS; tap++) {
                memcpy(&four, latest - CHANNELS * STEP * tap, sizeof four);
                sum += four * kernel[tap];
            }
        } else {
            for (int64_t tap = most(0, at - count + 1); tap < least(TAPS, at + 1); tap++) {
                memcpy(&four, latest - CHANNELS * STEP * tap, sizeof four);
                sum += four * kernel[tap];
            }
        }
        mono[at] = ((sum[0] + sum[4]) + (sum[1] + sum[5])) + ((sum[2] + sum[6]) + (sum[3] + sum[7]));
    }
}

/* Add both sides (`count` samples of the lower rate) to STEP * count frames of `out`. `taps` (TAPS,
   STEP, CHANNELS): from the oldest sample of the lower rate to the latest. */
API WIDE void add_higher_rate(const float *left, const float *right, int64_t count,
                              const float *taps, float *out) {
    float pairs[SAMPLES + TAPS - 1][CHANNELS] = {{0}}; /* before the first there is nothing */
    Frames kernel[TAPS];
    memcpy(kernel, taps, sizeof kernel);
    for (int64_t first = 0; first < count; first += SAMPLES) {
        const int64_t here = least(SAMPLES, count - first);
        memmove(pairs, pairs + SAMPLES, sizeof *pairs * (TAPS - 1));
        for (int64_t i = 0; i < here; i++) {
            pairs[TAPS - 1 + i][0] = left[first + i];
            pairs[TAPS - 1 + i][1] = right[first + i];
        }
        for (int64_t i = 0; i < here; i++) {
            float *to = out + CHANNELS * STEP * (first + i);
            Frames sum;
            memcpy(&sum, to, sizeof sum);
            for (int tap = 0; tap < TAPS; tap++) {
                double pair;
                memcpy(&pair, pairs[i + tap], sizeof pair);
                const Pairs same = {pair, pair, pair, pair};
                sum += (Frames)same * kernel[tap];
            }
            memcpy(to, &sum, sizeof sum);
        }
    }
}

/* ---- whole numbers -------------------------------------------------------------------------- */

/* Added and taken away again, it leaves a number of less than 2^22 rounded to the nearest whole
   one, ties to even: a float of that size has no fraction (IEEE 754). */
#define ROUNDING 12582912.0f

/* `count` samples in 16 bits, clipped. */
API WIDE void round16(const float *restrict block, int64_t count, int16_t *restrict out) {
    for (int64_t i = 0; i < count; i++) {
        float step = block[i] * 32768.0f;
        step = step > 32767.0f ? 32767.0f : step;
        step = step < -32768.0f ? -32768.0f : step;
        out[i] = (int16_t)(int32_t)((step + ROUNDING) - ROUNDING);
    }
}
