/* The innermost loops of the mixdown, compiled.

   Each does what a few lines of numpy beside its caller do (see loops.py), in one pass instead of
   several. Sound is float32, frame by frame, left and right in turn. Every loop lets go of Python's
   lock, checks its bounds before it begins, and is built without fused or reordered sums: what it
   says depends on nothing but what it is given. */

#define PY_SSIZE_T_CLEAN
#include <Python.h>

#include <float.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#if FLT_EVAL_METHOD < 0 || FLT_EVAL_METHOD == 1 || FLT_EVAL_METHOD == 2
#error "Floats are reckoned in other than 32 bits here: let numpy do it."
#endif

/* Wider registers where the processor has them, chosen when the module is loaded. GCC 11 and older
   do not know these names. */
#if defined(__x86_64__) && defined(__linux__) && defined(__GLIBC__) && !defined(__clang__) && \
    defined(__GNUC__) && __GNUC__ >= 12
#define WIDE __attribute__((target_clones("arch=x86-64-v4", "arch=x86-64-v3", "default")))
#else
#define WIDE
#endif

#define BLOCK 64 /* samples from edge to edge of an envelope: synth.BLOCK */
#define CHANNELS 2
#define MOST_LAGS 4
#define FURTHEST ((int64_t)1 << 60) /* samples: twice so many fit in 64 bits too */
#define AT_ONCE 16384 /* samples added at a time: they stay in a processor's cache */

/* ---- copies of notes ------------------------------------------------------------------------ */

typedef struct {
    Py_buffer samples, edges, lags[MOST_LAGS];
    int64_t hold, length, late_from;
    float gain, taps[MOST_LAGS];
    int count; /* of the lags */
} Sound;

typedef struct {
    PyObject_HEAD
    Py_ssize_t count;
    Sound *sounds;
} Sounds;

static inline int64_t least(int64_t a, int64_t b) { return a < b ? a : b; }
static inline int64_t most(int64_t a, int64_t b) { return a > b ? a : b; }

static WIDE void add_held(float *restrict out, const float *restrict samples, int64_t frames,
                          float gain, float left, float right) {
    for (int64_t i = 0; i < frames; i++) {
        out[2 * i] += samples[2 * i] * gain * left;
        out[2 * i + 1] += samples[2 * i + 1] * gain * right;
    }
}

/* `frames` of a fall, of whose block that of `edges` is the first, from its sample `first` on:
   straight lines from edge to edge, as in release.envelope. */
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

/* One lag of a colour, in a block or a part of one. */
static WIDE void add_lag(float *restrict falling, const float *restrict samples, int frames,
                         int first, const float *edges, float gain) {
    const float edge = edges[0], step = edges[1] - edges[0];
    for (int i = 0; i < frames; i++) {
        const float fall = (step * ((float)(first + i) / BLOCK) + edge) * gain;
        falling[2 * i] += samples[2 * i] * fall;
        falling[2 * i + 1] += samples[2 * i + 1] * fall;
    }
}

/* The samples [start, stop) of a coloured fall, block by block. */
static void add_coloured(const Sound *sound, float *out, int64_t start, int64_t stop, float left,
                         float right) {
    const float *samples = sound->samples.buf;
    for (int64_t at = start; at < stop;) {
        const int64_t since = at - sound->hold, first = since % BLOCK;
        const int late = at >= sound->late_from;
        int64_t end = least(stop, at + BLOCK - first);
        if (!late) end = least(end, sound->late_from);
        const int64_t frames = end - at;
        float falling[CHANNELS * BLOCK] = {0};
        for (int lag = 0; lag < sound->count; lag++) {
            const int64_t silent = most(0, lag - at); /* before the note there was nothing */
            if (silent >= frames) continue;
            const Py_buffer *gains = late ? &sound->edges : &sound->lags[lag];
            add_lag(falling + CHANNELS * silent, samples + CHANNELS * (at + silent - lag),
                    (int)(frames - silent), (int)(first + silent),
                    (const float *)gains->buf + since / BLOCK,
                    late ? sound->gain * sound->taps[lag] : 1.0f);
        }
        float *to = out + CHANNELS * (at - start);
        for (int64_t i = 0; i < frames; i++) {
            to[2 * i] += falling[2 * i] * left;
            to[2 * i + 1] += falling[2 * i + 1] * right;
        }
        at = end;
    }
}

/* The samples [start, stop) of a sound. */
static void add_sound(const Sound *sound, float *out, int64_t start, int64_t stop, float left,
                      float right) {
    const float *samples = sound->samples.buf;
    const int64_t let_go = least(most(start, sound->hold), stop);
    if (start < let_go)
        add_held(out, samples + CHANNELS * start, let_go - start, sound->gain, left, right);
    if (let_go >= stop) return;
    float *rest = out + CHANNELS * (let_go - start);
    const int64_t since = let_go - sound->hold;
    if (sound->count)
        add_coloured(sound, rest, let_go, stop, left, right);
    else
        add_falling(rest, samples + CHANNELS * let_go, stop - let_go, since % BLOCK,
                    (const float *)sound->edges.buf + since / BLOCK, sound->gain, left, right);
}

static int floats(PyObject *from, Py_buffer *buffer, int64_t least_count, const char *what) {
    if (PyObject_GetBuffer(from, buffer, PyBUF_SIMPLE) < 0) return -1;
    if (buffer->len / (Py_ssize_t)sizeof(float) >= least_count) return 0;
    PyBuffer_Release(buffer);
    PyErr_Format(PyExc_ValueError, "%s is too short", what);
    return -1;
}

static void release_sound(Sound *sound) {
    PyBuffer_Release(&sound->samples);
    PyBuffer_Release(&sound->edges);
    for (int lag = 0; lag < MOST_LAGS; lag++) PyBuffer_Release(&sound->lags[lag]);
}

static int within(int64_t least_place, int64_t place) {
    return least_place <= place && place <= FURTHEST;
}

/* The edges that a fall of so many samples has. */
static int64_t edges_of(int64_t samples) {
    return samples > 0 ? (samples + BLOCK - 1) / BLOCK + 1 : 0;
}

/* (samples, gain, hold, length, edges, lags, late_from, taps): see copies.Sound. */
static int take_sound(PyObject *row, Sound *sound) {
    PyObject *samples, *edges, *lags, *taps;
    double gain;
    long long hold, length, late_from;
    if (!PyTuple_Check(row)) {
        PyErr_SetString(PyExc_TypeError, "a sound is a tuple");
        return -1;
    }
    if (!PyArg_ParseTuple(row, "OdLLOO!LO!", &samples, &gain, &hold, &length, &edges, &PyTuple_Type,
                          &lags, &late_from, &PyTuple_Type, &taps))
        return -1;
    const Py_ssize_t count = PyTuple_GET_SIZE(lags);
    if (!within(0, length) || !within(0, hold) || !within(0, late_from) || count > MOST_LAGS ||
        PyTuple_GET_SIZE(taps) != count) {
        PyErr_SetString(PyExc_ValueError, "a sound that cannot be");
        return -1;
    }
    sound->gain = (float)gain;
    sound->hold = hold;
    sound->length = length;
    sound->late_from = late_from;
    if (floats(samples, &sound->samples, CHANNELS * length, "samples") < 0) return -1;
    if (floats(edges, &sound->edges, edges_of(length - hold), "edges") < 0) return -1;
    for (Py_ssize_t lag = 0; lag < count; lag++) {
        const int64_t needed = edges_of(least(length, late_from) - hold);
        if (floats(PyTuple_GET_ITEM(lags, lag), &sound->lags[lag], needed, "lags") < 0) return -1;
        sound->taps[lag] = (float)PyFloat_AsDouble(PyTuple_GET_ITEM(taps, lag));
        if (PyErr_Occurred()) return -1;
    }
    sound->count = (int)count;
    return 0;
}

static void sounds_dealloc(Sounds *self) {
    for (Py_ssize_t at = 0; at < self->count; at++) release_sound(&self->sounds[at]);
    PyMem_Free(self->sounds);
    PyTypeObject *type = Py_TYPE(self);
    type->tp_free((PyObject *)self);
    Py_DECREF(type);
}

static PyObject *sounds_new(PyTypeObject *type, PyObject *args, PyObject *named) {
    PyObject *list;
    if (named && PyDict_GET_SIZE(named)) {
        PyErr_SetString(PyExc_TypeError, "Sounds takes no names");
        return NULL;
    }
    if (!PyArg_ParseTuple(args, "O!", &PyList_Type, &list)) return NULL;
    PyObject *rows = PyList_AsTuple(list); /* asking for numbers may change a list */
    if (!rows) return NULL;
    const Py_ssize_t count = PyTuple_GET_SIZE(rows);
    Sounds *self = (Sounds *)type->tp_alloc(type, 0);
    if (self) {
        self->sounds = PyMem_Calloc((size_t)count + 1, sizeof(Sound));
        if (self->sounds)
            self->count = count;
        else
            PyErr_NoMemory();
        for (Py_ssize_t at = 0; at < self->count; at++)
            if (take_sound(PyTuple_GET_ITEM(rows, at), &self->sounds[at]) < 0) break;
        if (PyErr_Occurred()) Py_CLEAR(self);
    }
    Py_DECREF(rows);
    return (PyObject *)self;
}

/* add(out, start, onsets, ends, which, left, right) */
static PyObject *sounds_add(Sounds *self, PyObject *args) {
    Py_buffer out, onsets, ends, which;
    long long start;
    float left, right;
    if (!PyArg_ParseTuple(args, "w*Ly*y*y*ff", &out, &start, &onsets, &ends, &which, &left, &right))
        return NULL;
    const int64_t frames = out.len / (Py_ssize_t)sizeof(float) / CHANNELS;
    const int64_t count = which.len / (Py_ssize_t)sizeof(int64_t);
    const int64_t *begins = onsets.buf, *stops = ends.buf, *kinds = which.buf;
    int sound = onsets.len == which.len && ends.len == which.len && within(-FURTHEST, start);
    for (int64_t at = 0; sound && at < count; at++)
        sound = kinds[at] >= 0 && kinds[at] < self->count && within(-FURTHEST, begins[at]) &&
                within(-FURTHEST, stops[at]) &&
                stops[at] - begins[at] <= self->sounds[kinds[at]].length;
    if (sound) {
        Py_BEGIN_ALLOW_THREADS;
        for (int64_t from = 0; from < frames; from += AT_ONCE) {
            const int64_t first = start + from, last = start + least(frames, from + AT_ONCE);
            for (int64_t at = 0; at < count; at++) {
                const int64_t begin = most(begins[at], first), end = least(stops[at], last);
                if (begin < end)
                    add_sound(&self->sounds[kinds[at]], (float *)out.buf + CHANNELS * (begin - start),
                              begin - begins[at], end - begins[at], left, right);
            }
        }
        Py_END_ALLOW_THREADS;
    } else {
        PyErr_SetString(PyExc_ValueError, "copies that do not fit their sounds");
    }
    PyBuffer_Release(&out);
    PyBuffer_Release(&onsets);
    PyBuffer_Release(&ends);
    PyBuffer_Release(&which);
    if (!sound) return NULL;
    Py_RETURN_NONE;
}

static PyMethodDef sounds_methods[] = {
    {"add", (PyCFunction)sounds_add, METH_VARARGS, "Add copies of the sounds to a window."},
    {NULL, NULL, 0, NULL},
};

static PyType_Slot sounds_slots[] = {
    {Py_tp_doc, "How some held tones sound, ready to be copied."},
    {Py_tp_new, sounds_new},
    {Py_tp_dealloc, sounds_dealloc},
    {Py_tp_methods, sounds_methods},
    {0, NULL},
};

static PyType_Spec sounds_spec = {
    "backing.mixdown._loops.Sounds", sizeof(Sounds), 0, Py_TPFLAGS_DEFAULT, sounds_slots,
};

/* ---- how notes fall ------------------------------------------------------------------------- */

#define PAIR (CHANNELS * BLOCK)
#define SIDE_BY_SIDE 8 /* sums, so that they fit into wide registers */

static WIDE void multiplied(const float *a, const float *b, int64_t blocks, double *out) {
    for (int64_t at = 0; at < blocks; at++, a += PAIR, b += PAIR) {
        double sums[SIDE_BY_SIDE] = {0}, sum = 0;
        for (int i = 0; i < PAIR; i += SIDE_BY_SIDE)
            for (int k = 0; k < SIDE_BY_SIDE; k++) sums[k] += (double)a[i + k] * (double)b[i + k];
        for (int k = 0; k < SIDE_BY_SIDE; k++) sum += sums[k];
        out[at] = sum;
    }
}

/* block_products(a, b, out): the sum of the products of two sounds, block by block. */
static PyObject *block_products(PyObject *module, PyObject *args) {
    Py_buffer a, b, out;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*y*w*", &a, &b, &out)) return NULL;
    const int64_t blocks = out.len / (Py_ssize_t)sizeof(double);
    const int64_t given = least(a.len, b.len) / (Py_ssize_t)sizeof(float) / PAIR;
    const int fits = given >= blocks;
    if (fits) {
        Py_BEGIN_ALLOW_THREADS;
        multiplied(a.buf, b.buf, blocks, out.buf);
        Py_END_ALLOW_THREADS;
    } else {
        PyErr_SetString(PyExc_ValueError, "blocks that do not fit the sounds");
    }
    PyBuffer_Release(&a);
    PyBuffer_Release(&b);
    PyBuffer_Release(&out);
    if (!fits) return NULL;
    Py_RETURN_NONE;
}

/* The energy of what is heard beyond a held note times straight lines from edge to edge. */
static WIDE double missed(const float *held, const float *heard, int64_t blocks,
                          const float *edges) {
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

/* misfit(held, heard, edges, blocks) */
static PyObject *misfit(PyObject *module, PyObject *args) {
    Py_buffer held, heard, edges;
    Py_ssize_t blocks;
    double energy = 0;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*y*y*n", &held, &heard, &edges, &blocks)) return NULL;
    const int64_t given = least(held.len, heard.len) / (Py_ssize_t)sizeof(float) / PAIR;
    const int fits =
        0 <= blocks && blocks <= given && blocks < edges.len / (Py_ssize_t)sizeof(float);
    if (fits) {
        Py_BEGIN_ALLOW_THREADS;
        energy = missed(held.buf, heard.buf, blocks, edges.buf);
        Py_END_ALLOW_THREADS;
    } else {
        PyErr_SetString(PyExc_ValueError, "edges that do not fit the sounds");
    }
    PyBuffer_Release(&held);
    PyBuffer_Release(&heard);
    PyBuffer_Release(&edges);
    return fits ? PyFloat_FromDouble(energy) : NULL;
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

static double fitted(const double *power, const double *product, int64_t blocks, double level,
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

/* slope(power, product, level, nepers, slopes, falls): see release.fitted_release; `nepers` of a block at
   1 dB per second, `falls` (block, slope). */
static PyObject *slope(PyObject *module, PyObject *args) {
    Py_buffer power, product, slopes, falls;
    double level, nepers, found = 0;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*y*ddy*y*", &power, &product, &level, &nepers, &slopes, &falls))
        return NULL;
    const int64_t blocks = power.len / (Py_ssize_t)sizeof(double);
    const int64_t count = slopes.len / (Py_ssize_t)sizeof(double);
    const int fits = product.len == power.len && 3 <= count && count <= MOST_SLOPES &&
                     falls.len / (Py_ssize_t)sizeof(double) >= blocks * count;
    if (fits) {
        Py_BEGIN_ALLOW_THREADS;
        found = fitted(power.buf, product.buf, blocks, level, nepers, slopes.buf, falls.buf, count);
        Py_END_ALLOW_THREADS;
    } else {
        PyErr_SetString(PyExc_ValueError, "slopes that do not fit the blocks");
    }
    PyBuffer_Release(&power);
    PyBuffer_Release(&product);
    PyBuffer_Release(&slopes);
    PyBuffer_Release(&falls);
    return fits ? PyFloat_FromDouble(found) : NULL;
}

/* ---- loudness: the K-weighting, two biquads, hop by hop -------------------------------------- */

#define LANES 4 /* parts of the sound that are filtered side by side */

/* Transposed direct form II of both stages, for both channels of LANES parts at once. `from[lane]`
   points at frame 0 of a part; the energy of each of `hops` hops is added up in `energies`. */
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

/* hop_energies(sound, hop, coefficients, out): the mean square of each hop, both channels summed.

   Beyond a hop the filter has forgotten what was before (38 Hz: by 180 dB), so that the sound can
   be filtered in parts, each from one hop before its own. */
static PyObject *hop_energies(PyObject *module, PyObject *args) {
    Py_buffer sound, coefficients, out;
    Py_ssize_t hop;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*ny*w*", &sound, &hop, &coefficients, &out)) return NULL;
    const int64_t hops = out.len / (Py_ssize_t)sizeof(double);
    const int64_t share = (hops + LANES - 1) / LANES;
    const int64_t given = sound.len / (Py_ssize_t)sizeof(float) / CHANNELS;
    int64_t frames = 0; /* of a hop, both channels */
    double(*energies)[CHANNELS * LANES] = NULL;
    float *beginning = NULL;
    if (hop <= 0 || coefficients.len != 10 * (Py_ssize_t)sizeof(double) || given / hop < hops) {
        PyErr_SetString(PyExc_ValueError, "hops that do not fit the sound");
    } else if (hops) {
        frames = hop * CHANNELS;
        energies = PyMem_Malloc((size_t)(share + 1) * sizeof *energies);
        beginning = PyMem_Calloc((size_t)((share + 1) * frames), sizeof(float));
        if (!energies || !beginning) PyErr_NoMemory();
    }
    if (energies && beginning) {
        const float *samples = sound.buf, *from[LANES];
        double *means = out.buf;
        int64_t first[LANES];
        Py_BEGIN_ALLOW_THREADS;
        memcpy(beginning + frames, samples, sizeof(float) * (size_t)(share * frames));
        for (int lane = 0; lane < LANES; lane++) {
            first[lane] = least(lane * share, hops - share);
            from[lane] = first[lane] ? samples + (first[lane] - 1) * frames : beginning;
        }
        weigh(from, share + 1, hop, coefficients.buf, energies);
        for (int lane = 0; lane < LANES; lane++)
            for (int64_t at = 0; at < share; at++) {
                const double *energy = energies[at + 1] + CHANNELS * lane;
                means[first[lane] + at] = (energy[0] + energy[1]) / (double)hop;
            }
        Py_END_ALLOW_THREADS;
    }
    PyMem_Free(energies);
    PyMem_Free(beginning);
    PyBuffer_Release(&sound);
    PyBuffer_Release(&coefficients);
    PyBuffer_Release(&out);
    if (PyErr_Occurred()) return NULL;
    Py_RETURN_NONE;
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

/* The largest point between the samples of a chunk: `kernel` holds a row of PHASES for each tap. */
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

/* chunk_peaks(frames, above, kernel, bound, slope, bend, out): see loudness.chunk_peaks. */
static PyObject *chunk_peaks(PyObject *module, PyObject *args) {
    Py_buffer frames, kernel, out;
    float above, bound, slope, bend;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*fy*fffw*", &frames, &above, &kernel, &bound, &slope, &bend, &out))
        return NULL;
    const int64_t chunks = out.len / (Py_ssize_t)sizeof(float);
    const int64_t needed = (BEFORE + chunks * BLOCK + HALF_TAPS) * CHANNELS;
    const int fits = frames.len / (Py_ssize_t)sizeof(float) >= needed &&
                     kernel.len == 2 * HALF_TAPS * PHASES * (Py_ssize_t)sizeof(float);
    if (fits) {
        const float *samples = frames.buf;
        float *peaks = out.buf;
        Py_BEGIN_ALLOW_THREADS;
        for (int64_t at = 0; at < chunks; at++) {
            const float *around = samples + CHANNELS * BLOCK * at;
            peaks[at] = largest(around + CHANNELS * BEFORE, CHANNELS * BLOCK);
            /* a point between two samples may owe its height to the neighbouring chunk */
            const float highest = largest(around, CHANNELS * AROUND);
            if (highest * bound <= above) continue;
            /* most are smooth enough to be sure that nothing rises between their samples */
            if (highest + overshoot(around, slope, bend) <= above) continue;
            const float peak = between(around, kernel.buf);
            peaks[at] = peak > peaks[at] ? peak : peaks[at];
        }
        Py_END_ALLOW_THREADS;
    } else {
        PyErr_SetString(PyExc_ValueError, "chunks that do not fit the frames");
    }
    PyBuffer_Release(&frames);
    PyBuffer_Release(&kernel);
    PyBuffer_Release(&out);
    if (!fits) return NULL;
    Py_RETURN_NONE;
}

/* ---- the room, between the two sample rates ------------------------------------------------- */

#define STEP 4 /* room.STEP */
#define TAPS 8 /* room.TAPS */

/* A quarter of the frames at a time, so that neighbours lie together. */
#define STRETCH 1024

static WIDE void lowered(const float *restrict block, int64_t frames, const float *restrict kernel,
                       float *restrict mono) {
    float phases[STEP][STRETCH + TAPS - 1] = {{0}};
    const int64_t count = frames / STEP, all = count + TAPS - 1;
    for (int64_t first = 0; first < all; first += STRETCH) {
        const int64_t here = least(STRETCH, all - first);
        for (int phase = 0; phase < STEP; phase++) {
            float *row = phases[phase];
            memmove(row, row + STRETCH, sizeof(float) * (TAPS - 1));
            const int64_t given = most(0, least(STRETCH, count - first));
            for (int64_t i = 0; i < given; i++) {
                const float *pair = block + CHANNELS * (STEP * (first + i) + phase);
                row[TAPS - 1 + i] = pair[0] + pair[1];
            }
            memset(row + TAPS - 1 + given, 0, sizeof(float) * (size_t)(STRETCH - given));
        }
        float sums[STRETCH] = {0};
        for (int phase = 0; phase < STEP; phase++)
            for (int lag = 0; lag < TAPS; lag++) {
                const float weight = kernel[phase * TAPS + lag];
                const float *row = phases[phase] + TAPS - 1 - lag;
                for (int64_t i = 0; i < STRETCH; i++) sums[i] += row[i] * weight;
            }
        memcpy(mono + first, sums, sizeof(float) * (size_t)here);
    }
}

/* lower_rate(block, kernel, out): `block` in mono at the lower rate, TAPS - 1 samples longer; `kernel`
   is (STEP, TAPS), what a frame of each phase adds to this sample of the lower rate and the next. */
static PyObject *lower_rate(PyObject *module, PyObject *args) {
    Py_buffer block, kernel, out;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*y*w*", &block, &kernel, &out)) return NULL;
    const int64_t frames = block.len / (Py_ssize_t)sizeof(float) / CHANNELS;
    const int fits = frames % STEP == 0 &&
                     kernel.len == STEP * TAPS * (Py_ssize_t)sizeof(float) &&
                     out.len / (Py_ssize_t)sizeof(float) >= frames / STEP + TAPS - 1;
    if (fits) {
        Py_BEGIN_ALLOW_THREADS;
        lowered(block.buf, frames, kernel.buf, out.buf);
        Py_END_ALLOW_THREADS;
    } else {
        PyErr_SetString(PyExc_ValueError, "a block that does not fit the room");
    }
    PyBuffer_Release(&block);
    PyBuffer_Release(&kernel);
    PyBuffer_Release(&out);
    if (!fits) return NULL;
    Py_RETURN_NONE;
}

/* All frames of a sample of the lower rate, side by side in one register. */
typedef float Frames __attribute__((vector_size(CHANNELS * STEP * sizeof(float))));

static WIDE void raised(const float *left, const float *right, int64_t count, const float *taps,
                        float *out) {
    const int64_t edge = TAPS - 1;
    Frames kernel[TAPS];
    memcpy(kernel, taps, sizeof kernel);
    for (int64_t at = 0; at < count + edge; at++) {
        Frames sum = {0};
        const int64_t from = at - edge; /* the sample of the first tap */
        if (from >= 0 && at < count) {
            for (int tap = 0; tap < TAPS; tap++) {
                const float l = left[from + tap], r = right[from + tap];
                sum += (Frames){l, r, l, r, l, r, l, r} * kernel[tap];
            }
        } else {
            for (int64_t tap = most(0, -from); tap < least(TAPS, count - from); tap++) {
                const float l = left[from + tap], r = right[from + tap];
                sum += (Frames){l, r, l, r, l, r, l, r} * kernel[tap];
            }
        }
        memcpy(out + CHANNELS * STEP * at, &sum, sizeof sum);
    }
}

/* higher_rate(left, right, kernel, out): both sides at the higher rate, STEP * (TAPS - 1) frames longer;
   `kernel` is (TAPS, STEP, CHANNELS), from the oldest sample of the lower rate to the latest. */
static PyObject *higher_rate(PyObject *module, PyObject *args) {
    Py_buffer left, right, kernel, out;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*y*y*w*", &left, &right, &kernel, &out)) return NULL;
    const int64_t count = left.len / (Py_ssize_t)sizeof(float);
    const int fits = right.len == left.len &&
                     kernel.len == CHANNELS * STEP * TAPS * (Py_ssize_t)sizeof(float) &&
                     out.len / (Py_ssize_t)sizeof(float) >= (count + TAPS - 1) * CHANNELS * STEP;
    if (fits) {
        Py_BEGIN_ALLOW_THREADS;
        raised(left.buf, right.buf, count, kernel.buf, out.buf);
        Py_END_ALLOW_THREADS;
    } else {
        PyErr_SetString(PyExc_ValueError, "sides that do not fit the room");
    }
    PyBuffer_Release(&left);
    PyBuffer_Release(&right);
    PyBuffer_Release(&kernel);
    PyBuffer_Release(&out);
    if (!fits) return NULL;
    Py_RETURN_NONE;
}

/* ---- whole numbers -------------------------------------------------------------------------- */

/* Added and taken away again, it leaves a number of less than 2^22 rounded to the nearest whole
   one, ties to even: a float of that size has no fraction (IEEE 754). */
#define ROUNDING 12582912.0f

static WIDE void round16(const float *restrict block, int64_t count, int16_t *restrict out) {
    for (int64_t i = 0; i < count; i++) {
        float step = block[i] * 32768.0f;
        step = step > 32767.0f ? 32767.0f : step;
        step = step < -32768.0f ? -32768.0f : step;
        out[i] = (int16_t)(int32_t)((step + ROUNDING) - ROUNDING);
    }
}

/* whole_numbers(block, out): in 16 bits, rounded to the nearest, clipped. */
static PyObject *whole_numbers(PyObject *module, PyObject *args) {
    Py_buffer block, out;
    (void)module;
    if (!PyArg_ParseTuple(args, "y*w*", &block, &out)) return NULL;
    const int64_t count = block.len / (Py_ssize_t)sizeof(float);
    const int fits = out.len / (Py_ssize_t)sizeof(int16_t) == count;
    if (fits) {
        Py_BEGIN_ALLOW_THREADS;
        round16(block.buf, count, out.buf);
        Py_END_ALLOW_THREADS;
    } else {
        PyErr_SetString(PyExc_ValueError, "whole numbers that do not fit the block");
    }
    PyBuffer_Release(&block);
    PyBuffer_Release(&out);
    if (!fits) return NULL;
    Py_RETURN_NONE;
}

/* ---- the module ----------------------------------------------------------------------------- */

static PyMethodDef methods[] = {
    {"block_products", block_products, METH_VARARGS, "The sum of the products of each block."},
    {"misfit", misfit, METH_VARARGS, "The energy of what a release does not tell of a fall."},
    {"slope", slope, METH_VARARGS, "The slope of a fall that comes nearest to what is heard."},
    {"hop_energies", hop_energies, METH_VARARGS, "The K-weighted mean square of each hop."},
    {"chunk_peaks", chunk_peaks, METH_VARARGS, "The true peak of each chunk."},
    {"lower_rate", lower_rate, METH_VARARGS, "A block in mono at the rate of the room."},
    {"higher_rate", higher_rate, METH_VARARGS, "Two sides of the room at the sample rate."},
    {"whole_numbers", whole_numbers, METH_VARARGS, "A block in 16 bits."},
    {NULL, NULL, 0, NULL},
};

static int begin(PyObject *module) {
    PyObject *type = PyType_FromSpec(&sounds_spec);
    if (!type) return -1;
    const int added = PyModule_AddObjectRef(module, "Sounds", type);
    Py_DECREF(type);
    return added;
}

static PyModuleDef_Slot slots[] = {{Py_mod_exec, begin}, {0, NULL}};

static struct PyModuleDef definition = {
    PyModuleDef_HEAD_INIT, "backing.mixdown._loops", "The innermost loops of the mixdown.", 0,
    methods, slots, NULL, NULL, NULL,
};

PyMODINIT_FUNC PyInit__loops(void) { return PyModuleDef_Init(&definition); }
