/* Laws of random sums, compiled.
 *
 * The equations, their sources and their error bounds are those of tests/oracles/random_vectors, the same
 * computation in Python, with which tests compare every figure. Lengths are in any one unit.
 *
 * Whatever takes long counts its steps first and reports them to a callable in portions; an exception of that
 * callable ends the computation. Functions that can fail set `failed` in their Work, and the figures that they then
 * return are without meaning. The interpreter's lock is held: a portion takes a fraction of a millisecond, and the
 * interpreter may switch threads whenever one is reported.
 */
#define PY_SSIZE_T_CLEAN
#include <Python.h>
#include <float.h>
#include <math.h>
#include <string.h>

#define PI 3.14159265358979323846

enum { DEGREE = 12, POINTS = DEGREE + 1, NODES = 16, BAND_NODES = 24 };
enum { MOST_TERMS = 16384, MOST_TERMS_IN_TABLE = 768, MOST_RINGS_WITH_TAIL = 6, SHALLOW = 1, DEEP = 4 };

static double minimum(double a, double b) { return a < b ? a : b; }
static double maximum(double a, double b) { return a > b ? a : b; }
static double clipped(double x, double low, double high) { return x < low ? low : x > high ? high : x; }

/* ---- memory and counted work ---------------------------------------------------------------------------------- */

typedef struct Block { struct Block *next; double data[]; } Block;

typedef struct {
    PyObject *charge;
    Block **blocks; /* memory that lives as long as the law */
    double owed;
    int failed;
} Work;

static void *take(Work *work, size_t bytes)
{
    Block *block = PyMem_Malloc(sizeof(Block) + (bytes ? bytes : 1));
    if (block == NULL) {
        PyErr_NoMemory();
        work->failed = 1;
        return NULL;
    }
    block->next = *work->blocks;
    *work->blocks = block;
    return block->data;
}

static void release(Block *block)
{
    while (block != NULL) {
        Block *next = block->next;
        PyMem_Free(block);
        block = next;
    }
}

static void settle(Work *work)
{
    if (work->failed || work->owed < 1.0)
        return;
    PyObject *done = PyObject_CallFunction(work->charge, "L", (long long)work->owed);
    work->owed = 0.0;
    if (done == NULL)
        work->failed = 1;
    Py_XDECREF(done);
}

static void charge(Work *work, double steps)
{
    work->owed += steps;
    if (work->owed >= 20000.0)
        settle(work);
}

/* ---- Bessel functions ----------------------------------------------------------------------------------------- */

enum { STEPS = 8, TABLED = 802, ORDER = 8, BLOCK = 256, LANES = 4 };
static const double FAR = 100.0; /* from here Hankel's expansion is exact to 1e-12; below, a table */

static double taylor0[TABLED][ORDER], taylor1[TABLED][ORDER]; /* J0 and J1 about each eighth */
static double integral0[TABLED];                              /* of J0, from 0 to each eighth */
static double zeros[MOST_TERMS], weights[MOST_TERMS];         /* of J0; of the terms of the series */
static double node16[NODES], weight16[NODES], node12[DEGREE], weight12[DEGREE];
static double eased_node[BAND_NODES], eased_weight[BAND_NODES]; /* on 0 to 1, for roots and logarithms at both ends */
static double lobatto[POINTS], transform[POINTS][POINTS];     /* Chebyshev points; from values to coefficients */
static double powers[POINTS][POINTS];                         /* from coefficients to those of powers */

/* J0 and J1 of a large x, with root = sqrt(2/(πx)) and the cosine and sine of x - π/4 (Abramowitz and Stegun 9.2.5) */
static inline void hankel(double x, double root, double cosine, double sine, double *first, double *second)
{
    double y = 0.125 / x, square = y * y;
    *first = root * ((1.0 + square * (459.375 * square - 4.5)) * cosine + y * (1.0 - 37.5 * square) * sine);
    *second = root * ((1.0 + square * (7.5 - 590.625 * square)) * sine + y * (3.0 - 52.5 * square) * cosine);
}

static void bessel(double x, double *first, double *second)
{
    if (x >= FAR) {
        hankel(x, sqrt(2.0 / (PI * x)), cos(x - 0.25 * PI), sin(x - 0.25 * PI), first, second);
        return;
    }
    int point = (int)(x * STEPS + 0.5);
    double h = x - (double)point / STEPS;
    const double *a = taylor0[point], *b = taylor1[point];
    double value0 = a[ORDER - 1], value1 = b[ORDER - 1];
    for (int k = ORDER - 2; k >= 0; k--) {
        value0 = value0 * h + a[k];
        value1 = value1 * h + b[k];
    }
    *first = value0;
    *second = value1;
}

/* The integral of J0 from 0 to x, of which J0 and J1 are given; by parts where x is large. */
static double integral_of_bessel(double x, double first, double second)
{
    double over = 1.0 / x, square = over * over, sum = 0.0;
    if (x >= FAR)
        return 1.0 + second * (1.0 - square * (1.0 - 9.0 * square)) - first * over * (1.0 - 3.0 * square);
    int point = (int)(x * STEPS + 0.5);
    double h = x - (double)point / STEPS;
    for (int k = ORDER - 1; k >= 0; k--)
        sum = sum * h + taylor0[point][k] / (k + 1);
    return integral0[point] + sum * h;
}

static double zero_of(long k) /* of J0, counted from 0; Abramowitz and Stegun 9.5.12 beyond the table */
{
    if (k < MOST_TERMS)
        return zeros[k];
    double eight = 8.0 * PI * ((double)k + 0.75);
    return eight / 8.0 + 1.0 / eight - 124.0 / (3.0 * eight * eight * eight);
}

static double weight_of(long k)
{
    if (k < MOST_TERMS)
        return weights[k];
    double zero = zero_of(k), first, second;
    bessel(zero, &first, &second);
    return 2.0 / (zero * second * second);
}

typedef struct { double zero[BLOCK], first[BLOCK], second[BLOCK]; } Waves; /* zeros; J0 and J1 of a times each */

/* Zeros from number `from`, at most a block of them, a multiple of four; and J0 and J1 of a times each. Zeros lie
 * close to (k + 3/4)·π, so that beyond the table the angle turns by equal steps and a small rest. */
static void waves_of(double a, long from, int count, Waves *waves)
{
    int n = 0;
    for (int k = 0; k < count; k++)
        waves->zero[k] = zero_of(from + k);
    for (; n < count && a * waves->zero[n] < FAR; n++)
        bessel(a * waves->zero[n], &waves->first[n], &waves->second[n]);
    if (n == count)
        return;
    n -= n % LANES;
    double cosine[LANES], sine[LANES], turn_cosine = cos(LANES * PI * a), turn_sine = sin(LANES * PI * a), unit = 2.0 / (PI * a);
    for (int lane = 0; lane < LANES; lane++) {
        double angle = a * PI * ((double)(from + n + lane) + 0.75) - 0.25 * PI;
        cosine[lane] = cos(angle);
        sine[lane] = sin(angle);
    }
    for (; n < count; n += LANES)
        for (int lane = 0; lane < LANES; lane++) {
            double zero = waves->zero[n + lane], rest = a * (zero - PI * ((double)(from + n + lane) + 0.75)), square = rest * rest;
            double wide = 1.0 - 0.5 * square, narrow = rest * (1.0 - square / 6.0), c = cosine[lane], s = sine[lane];
            hankel(a * zero, sqrt(unit / zero), c * wide - s * narrow, s * wide + c * narrow, &waves->first[n + lane], &waves->second[n + lane]);
            cosine[lane] = c * turn_cosine - s * turn_sine;
            sine[lane] = s * turn_cosine + c * turn_sine;
        }
}

static void legendre(int count, double *nodes, double *node_weights) /* Gauss's rule on -1 to 1 */
{
    for (int i = 0; i < count; i++) {
        double x = -cos(PI * (i + 0.75) / (count + 0.5)), slope = 1.0;
        for (int turn = 0; turn < 100; turn++) {
            double last = 1.0, value = x;
            for (int k = 2; k <= count; k++) {
                double next = ((2 * k - 1) * x * value - (k - 1) * last) / k;
                last = value;
                value = next;
            }
            slope = count * (x * value - last) / (x * x - 1.0);
            double move = value / slope;
            x -= move;
            if (fabs(move) < 1e-15)
                break;
        }
        nodes[i] = x;
        node_weights[i] = 2.0 / ((1.0 - x * x) * slope * slope);
    }
}

static void fill_tables(void)
{
    for (int n = 0; n < TABLED; n++) {
        double x = (double)n / STEPS, *a = taylor0[n], *b = taylor1[n];
        a[0] = j0(x);
        b[0] = j1(x);
        if (n == 0)
            b[1] = 0.5;
        /* J0' = -J1 and x·J1' = x·J0 - J1, order by order; at 0 the second has its own form */
        for (int k = 0; k + 1 < ORDER; k++) {
            a[k + 1] = -b[k] / (k + 1);
            if (n == 0)
                b[k + 1] = a[k] / (k + 2);
            else
                b[k + 1] = (x * a[k] + (k > 0 ? a[k - 1] : 0.0) - (k + 1) * b[k]) / (x * (k + 1));
        }
    }
    for (int n = 0; n + 1 < TABLED; n++) {
        double half = 0.5 / STEPS, step = 0.0;
        for (int k = ORDER - 1; k >= 0; k--)
            step = step * half + (taylor0[n][k] + (k % 2 ? -1.0 : 1.0) * taylor0[n + 1][k]) / (k + 1);
        integral0[n + 1] = integral0[n] + step * half;
    }
    for (int k = 0; k < MOST_TERMS; k++) {
        double eight = 8.0 * PI * (k + 0.75), first, second;
        double zero = eight / 8.0 + 1.0 / eight - 124.0 / (3.0 * eight * eight * eight);
        for (int turn = 0; turn < (k < 64 ? 4 : 1); turn++) {
            bessel(zero, &first, &second);
            zero += first / second;
        }
        bessel(zero, &first, &second);
        zeros[k] = zero;
        weights[k] = 2.0 / (zero * second * second);
    }
    powers[0][0] = powers[1][1] = 1.0; /* T_k = 2x·T_{k-1} - T_{k-2} */
    for (int k = 2; k < POINTS; k++)
        for (int n = 0; n <= k; n++)
            powers[k][n] = (n > 0 ? 2.0 * powers[k - 1][n - 1] : 0.0) - powers[k - 2][n];
    legendre(NODES, node16, weight16);
    legendre(BAND_NODES, eased_node, eased_weight);
    for (int n = 0; n < BAND_NODES; n++) {
        double t = 0.5 * (1.0 + eased_node[n]), slope = t * (1.0 - t);
        eased_node[n] = t * t * t * (10.0 + t * (6.0 * t - 15.0));
        eased_weight[n] *= 15.0 * slope * slope;
    }
    legendre(DEGREE, node12, weight12);
    for (int k = 0; k < POINTS; k++) {
        lobatto[k] = cos(PI * k / DEGREE);
        for (int n = 0; n < POINTS; n++)
            transform[k][n] = 2.0 / DEGREE * (k % DEGREE ? 1.0 : 0.5) * (n % DEGREE ? 1.0 : 0.5) * cos(PI * k * n / DEGREE);
    }
}

/* ---- laws ----------------------------------------------------------------------------------------------------- */

typedef struct { double low, high; } Band;

typedef struct { /* vectors of one resultant, the largest of each kind first */
    double *rings, *discs;
    Band *bands;
    int n_rings, n_discs, n_bands;
} Parts;

typedef enum { STEP, TWO_RINGS, GAUSSIAN, DISC, BAND, DISC_RING, TWO_DISCS, SERIES, ADDED_RING, ADDED_DISC, ADDED_BAND } Kind;

static const char *const kind_names[] = {
    "step", "two rings", "gaussian", "disc", "band", "disc and ring", "two discs", "series", "added ring", "added disc", "added band",
};

typedef struct { /* piecewise polynomials, each in its own x from -1 to 1, on [edges[0], edges[pieces]] */
    int pieces;
    double *edges;
    double (*coefficients)[POINTS];
} Table;

typedef struct Law {
    Kind kind;
    double lower, upper;
    double a, b;      /* sizes of a closed law; the added vector, or the ends of the added band */
    Table rest;       /* the resultant to which a vector or a band is added */
    Table table;      /* of this law, once made */
    /* a series; sizes in units of `scale` */
    double scale, sigma, end, tail, least, edge;
    Parts parts;
    long terms;
    int orders;       /* of the tail; 0 for none */
    double *coefficients;
    struct Law *longer;
} Law;

static double law_cdf(Work *work, Law *law, double r);
static Law *law_of(Work *work, Parts parts, double sigma, long most_terms);

static double total_of(const Parts *parts)
{
    long double total = 0.0L;
    for (int n = 0; n < parts->n_rings; n++)
        total += parts->rings[n];
    for (int n = 0; n < parts->n_discs; n++)
        total += parts->discs[n];
    for (int n = 0; n < parts->n_bands; n++)
        total += parts->bands[n].high;
    return (double)total;
}

static double least_of(const Parts *parts) /* what the others cannot close of the longest ring or band */
{
    double longest = parts->n_rings ? 2.0 * parts->rings[0] : 0.0;
    for (int n = 0; n < parts->n_bands; n++)
        longest = maximum(longest, parts->bands[n].low + parts->bands[n].high);
    return maximum(0.0, longest - total_of(parts));
}

static int descending(const void *one, const void *other)
{
    double difference = *(const double *)other - *(const double *)one;
    return difference < 0.0 ? -1 : difference > 0.0;
}

static double overlap(double r, double a, double apart) /* area common to two circles, over that of the second */
{
    double far = r + a;
    if (apart >= far)
        return 0.0;
    if (apart <= fabs(r - a))
        return r >= a ? 1.0 : (r / a) * (r / a);
    /* half angles at the centres, from the sides of the triangle r, a, d */
    double total = far + apart, rest = far - apart, brief = apart + r - a, lengthy = apart - r + a;
    double at_first = 2.0 * atan2(sqrt(rest * lengthy), sqrt(total * brief));
    double at_second = 2.0 * atan2(sqrt(rest * brief), sqrt(total * lengthy));
    double ratio = r / a, chord = 0.5 * sqrt(total * rest) * sqrt(brief * lengthy) / (a * a);
    return clipped((ratio * ratio * at_first + at_second - chord) / PI, 0.0, 1.0);
}

static double two_discs(double r, double a, double b)
{
    double above = (b - (r - a)) * (b + (r - a));
    if (above <= 0.0)
        return minimum((r / a) * (r / a), 1.0);
    double chi = asin(minimum(sqrt(above / (4.0 * a * r)), 1.0));
    double inner = (r / b) * (r / b) * (2.0 * chi - 0.5 * sin(4.0 * chi)) / PI;
    return minimum(overlap(r, a, b) + inner, 1.0);
}

/* ---- the series and its tail ---------------------------------------------------------------------------------- */

typedef struct { double re, im; } Complex;

static Complex product(Complex a, Complex b) { return (Complex){a.re * b.re - a.im * b.im, a.re * b.im + a.im * b.re}; }

/* E_s(-jx), E_{s+1}(-jx), ... of real x other than 0, with turn = exp(jx); s is whole or half, s >= 1/2. */
static void exponential_integrals(double x, double s, int count, Complex turn, Complex *found)
{
    if (fabs(x) >= 6.0) { /* continued fraction of the last, then downward, which loses nothing: |x| is near or above s */
        double top = s + count - 1, re = top, im = -x;
        int depth = 3 + (int)(112.0 / fabs(x));
        re += 2.0 * depth;
        for (int i = depth; i > 0; i--) {
            double share = i * (top + i - 1) / (re * re + im * im);
            re = top + 2.0 * (i - 1) - share * re;
            im = -x + share * im;
        }
        double size = re * re + im * im;
        found[count - 1] = product(turn, (Complex){re / size, -im / size});
        for (int n = count - 2; n >= 0; n--) { /* E_k = (exp(-z) - k·E_{k+1})/z, z = -jx */
            Complex above = found[n + 1];
            double k = s + n;
            found[n] = (Complex){-(turn.im - k * above.im) / x, (turn.re - k * above.re) / x};
        }
        return;
    }
    double half = s - floor(s), base = half > 0.0 ? 0.5 : 1.0, size = fabs(x), sign = x < 0.0 ? -1.0 : 1.0;
    double root = sqrt(0.5 * PI / size);
    Complex value = half > 0.0 ? (Complex){root, sign * root} : (Complex){-0.57721566490153286061 - log(size), sign * 0.5 * PI};
    Complex power = {1.0, 0.0}; /* (jx)^k/k! */
    for (int k = 0; k < 60; k++) {
        double below = k + 1.0 - base;
        if (below > 0.0) {
            value.re -= power.re / below;
            value.im -= power.im / below;
        }
        if (k > 2 && fabs(power.re) + fabs(power.im) < 1e-17)
            break;
        power = (Complex){-power.im * x / (k + 1), power.re * x / (k + 1)};
    }
    for (double k = base; k < s + count; k += 1.0) { /* upward: E_{k+1} = (exp(-z) - z·E_k)/k */
        if (k >= s)
            found[(int)(k - s)] = value;
        value = (Complex){(turn.re - x * value.im) / k, (turn.im + x * value.re) / k};
    }
}

static double end_of_sum(long terms) /* T, half a step beyond the last term */
{
    double base = PI * ((double)terms + 0.25), end = base;
    for (int turn = 0; turn < 4; turn++)
        end = base + 1.0 / (8.0 * end) - 25.0 / (384.0 * end * end * end);
    return end;
}

static double tail_of(const Law *law, double r, double *slope) /* of the terms beyond T, at r/scale */
{
    const double *a = law->parts.rings, end = law->end;
    int count = law->parts.n_rings, wanted = law->orders == SHALLOW ? 3 : 6;
    double s = 0.5 * (count + 1), waves = 0.0, rest = 0.0, steep = 0.0;
    static const double eighths[8][2] = {{1, 0}, {0.70710678118654752440, 0.70710678118654752440}, {0, 1}, {-0.70710678118654752440, 0.70710678118654752440},
        {-1, 0}, {-0.70710678118654752440, -0.70710678118654752440}, {0, -1}, {0.70710678118654752440, -0.70710678118654752440}};
    double inverse[MOST_RINGS_WITH_TAIL], squares = 0.0, fourths = 0.0, by_radius = 1.0 / (r * end);
    for (int n = 0; n < count; n++) {
        inverse[n] = 1.0 / (a[n] * end);
        squares += inverse[n] * inverse[n];
        fourths += inverse[n] * inverse[n] * inverse[n] * inverse[n];
    }
    for (int pattern = 0; pattern < 1 << count; pattern++) {
        double frequency = r, lag = 0.375 / r, cubes = 0.0;
        int phase = -3; /* in eighths of a turn */
        for (int n = 0; n < count; n++) {
            double sign = pattern >> n & 1 ? -1.0 : 1.0;
            frequency += sign * a[n];
            lag -= sign * 0.125 / a[n];
            cubes += sign * inverse[n] * inverse[n] * inverse[n];
            phase -= (int)sign;
        }
        if (frequency > 1.0) { /* exp(2jθ) = -1 at every zero of J0 */
            frequency -= 2.0;
            lag += 0.25;
            phase -= 2;
        }
        frequency += 1e-300; /* never 0 */
        double x = frequency * end;
        Complex turn = {cos(x), sin(x)}, factor = {eighths[phase & 7][0], eighths[phase & 7][1]}, integrals[6];
        exponential_integrals(x, s - 1.0, wanted, turn, integrals);
        for (int n = 0; n < wanted; n++)
            integrals[n] = product(integrals[n], factor);
        double even = frequency * frequency, leading = integrals[1].re;
        if (law->orders == DEEP) {
            double e1 = lag / end;
            double e2 = 0.1875 * by_radius * by_radius - 0.0625 * squares;
            double e3 = -21.0 / 128.0 * by_radius * by_radius * by_radius + 25.0 / 384.0 * cubes;
            double e4 = -27.0 / 128.0 * by_radius * by_radius * by_radius * by_radius + 13.0 / 128.0 * fourths;
            double half = 0.5 * e1 * e1;
            leading -= (half - e2) * integrals[3].re;
            leading += (e1 * (half / 3.0 - e2) - e3) * integrals[4].im;
            leading += (half * (half / 6.0 - e2) - e1 * e3 + e4 + 0.5 * e2 * e2) * integrals[5].re;
        }
        /* π/(2 sin(πω/2)) - 1/ω, the difference of sum and integral, to 5e-5 */
        rest += (((even * 0.0140578 + 0.0258145) * even + 0.119741) * even + 0.411137) * frequency * product(turn, factor).im;
        rest += lag * integrals[2].im;
        waves += leading;
        steep += integrals[0].im;
    }
    if (law->orders == SHALLOW)
        waves *= 1.0 + 0.1171875 * (count - 1) / (count + 3) * by_radius * by_radius;
    double size = law->tail * sqrt(r);
    *slope -= end * size * steep;
    return size * (waves - rest / end);
}

static double sum_of(Work *work, const Law *law, long terms, double r, double *slope) /* P and its slope at r/scale */
{
    double value = 0.0, steep = 0.0;
    Waves waves;
    charge(work, (double)terms);
    for (long from = 0; from < terms; from += BLOCK) {
        int count = (int)(terms - from < BLOCK ? terms - from : BLOCK);
        const double *coefficients = law->coefficients + from;
        waves_of(r, from, count, &waves);
        for (int n = 0; n < count; n++) {
            value += coefficients[n] * waves.second[n];
            steep += coefficients[n] * waves.zero[n] * waves.first[n];
        }
    }
    *slope = r * steep;
    return r * value + (law->orders && terms == law->terms ? tail_of(law, r, slope) : 0.0);
}

static Law *series(Work *work, const Law *like, long terms, int orders) /* its sizes are those of `like` */
{
    Law *law = take(work, sizeof(Law));
    double *coefficients = law ? take(work, sizeof(double) * (size_t)terms) : NULL;
    if (coefficients == NULL)
        return NULL;
    *law = *like;
    const Parts *parts = &law->parts;
    Waves waves, others;
    for (long from = 0; from < terms; from += BLOCK) {
        int count = (int)(terms - from < BLOCK ? terms - from : BLOCK);
        double *values = coefficients + from;
        for (int n = 0; n < count; n++) {
            double spread = law->sigma * zero_of(from + n);
            values[n] = weight_of(from + n) * (law->sigma > 0.0 ? exp(-0.5 * spread * spread) : 1.0);
        }
        for (int i = 0; i < parts->n_rings; i++) {
            waves_of(parts->rings[i], from, count, &waves);
            for (int n = 0; n < count; n++)
                values[n] *= waves.first[n];
        }
        for (int i = 0; i < parts->n_discs; i++) {
            waves_of(parts->discs[i], from, count, &waves);
            for (int n = 0; n < count; n++)
                values[n] *= 2.0 * waves.second[n] / (parts->discs[i] * waves.zero[n]);
        }
        for (int i = 0; i < parts->n_bands; i++) {
            Band band = parts->bands[i];
            waves_of(band.high, from, count, &waves);
            waves_of(band.low, from, count, &others);
            for (int n = 0; n < count; n++) {
                double high = integral_of_bessel(band.high * waves.zero[n], waves.first[n], waves.second[n]);
                double low = integral_of_bessel(band.low * waves.zero[n], others.first[n], others.second[n]);
                values[n] *= (high - low) / ((band.high - band.low) * waves.zero[n]);
            }
        }
    }
    law->terms = terms;
    law->orders = orders;
    law->coefficients = coefficients;
    law->longer = NULL;
    law->edge = NAN;
    law->least = 0.0;
    if (orders) {
        double end = law->end = end_of_sum(terms), size = 2.0 * end / PI, bound = sqrt(2.0 / PI);
        int count = parts->n_rings;
        for (int n = 0; n < count; n++) {
            size *= 0.5 / PI / (parts->rings[n] * end);
            bound *= sqrt(2.0 / (PI * parts->rings[n]));
        }
        law->tail = sqrt(size);
        /* the first order left out of the expansion of J1(rt) is √r·B(T)·c/(rT)^d */
        double power = 0.5 * (count - 1), share = orders == SHALLOW ? 0.3 : 0.4, degree = orders == SHALLOW ? 3.0 : 5.0;
        double brief = pow(share * bound / (power * 2e-7) * pow(end, -power - degree), 1.0 / (degree - 0.5));
        law->least = maximum(4.0 / end, brief);
    }
    return law;
}

static double series_value(Work *work, Law *law, double r, double *slope) /* with as many terms as r/scale takes */
{
    while (r < law->least && !work->failed) {
        double aside;
        if (isnan(law->edge))
            law->edge = sum_of(work, law, law->terms, law->least, &aside);
        double ratio = r / law->least, edge = law->edge; /* toward zero, P falls at least in proportion to r */
        if (edge * ratio < 2.5e-7 || edge < 1e-6) {
            *slope = 2.0 * edge * ratio / law->least;
            return edge * ratio * ratio;
        }
        if (law->longer == NULL)
            law->longer = series(work, law, 4 * law->terms, law->orders);
        if (law->longer == NULL)
            return 0.0;
        law = law->longer;
    }
    return work->failed ? 0.0 : sum_of(work, law, law->terms, r, slope);
}

typedef struct { long terms; int orders; } Length;

static long terms_of(double end, long least)
{
    double terms = minimum(end / PI, 2.0 * MOST_TERMS);
    long whole = 8 * (long)ceil(terms / 8.0);
    return whole > least ? whole : least;
}

static Length rings_length(const double *a, int count, double sigma)
{
    double end = sigma > 0.0 ? 5.6 / sigma : HUGE_VAL, bound = sqrt(2.0 / PI), bounds[512];
    int known = 0;
    for (int n = 0; n < count && known < 512; n++) {
        bound *= sqrt(2.0 / (PI * a[n]));
        if (bound > 1e150)
            break;
        bounds[known++] = bound;
    }
    for (int used = known; used > 1; used--) {
        double power = 0.5 * (used - 1);
        end = minimum(end, pow(bounds[used - 1] / (power * 4e-7), 1.0 / power));
        if (a[used - 1] * end > 1.0) /* this vector still shortens the series */
            break;
    }
    Length best = {terms_of(end, 16), 0};
    if (sigma > 0.0 || count < 3 || count > MOST_RINGS_WITH_TAIL || bound > 1e150)
        return best;
    double power = 0.5 * (count - 1), cost = (double)count * best.terms, first = 0.0, second = 0.0, fifth = 0.0;
    for (int n = 0; n < count; n++) {
        first += 0.125 / a[n];
        second += 0.0625 / (a[n] * a[n]);
        fifth += pow(a[n], -5.0);
    }
    for (int deep = 0; deep < 2; deep++) {
        double price = deep ? 4000.0 : 1200.0, share = second + 0.5 * first * first;
        long least = deep ? 96 : 16;
        if (cost <= price + (double)count * least)
            break;
        if (deep)
            share = 0.25 * fifth + pow(first, 5.0) / 60.0 + first * second * second + first * first * first * second / 3.0;
        end = pow(bound * share / (power * 2e-7), 1.0 / (power + (deep ? 5 : 2)));
        end = maximum(end, (deep ? 3.0 : 2.0) / a[count - 1]);
        if (count > 4)
            end = maximum(end, pow(bound / (power * 3e-4), 1.0 / power));
        long terms = terms_of(end, least);
        if ((double)count * terms + price < cost) {
            best = (Length){terms, deep ? DEEP : SHALLOW};
            cost = (double)count * terms + price;
        }
    }
    return best;
}

typedef struct { double constant, degree, from; } Factor;

static int earlier(const void *one, const void *other)
{
    double difference = ((const Factor *)one)->from - ((const Factor *)other)->from;
    return difference < 0.0 ? -1 : difference > 0.0;
}

static Length mixed_length(Work *work, const Parts *parts, double sigma) /* by the proven bound */
{
    int count = parts->n_rings + parts->n_discs + parts->n_bands, n = 0;
    Factor *factors = take(work, sizeof(Factor) * (size_t)count);
    if (factors == NULL)
        return (Length){0, 0};
    for (int i = 0; i < parts->n_discs; i++)
        factors[n++] = (Factor){1.6501 * pow(parts->discs[i], -1.5), 1.5, 0.0};
    for (int i = 0; i < parts->n_rings; i++)
        factors[n++] = (Factor){sqrt(2.0 / PI) / sqrt(parts->rings[i]), 0.5, 0.0};
    for (int i = 0; i < parts->n_bands; i++)
        factors[n++] = (Factor){1.4703 / (parts->bands[i].high - parts->bands[i].low), 1.0, 0.0};
    for (int i = 0; i < count; i++)
        factors[i].from = pow(factors[i].constant, 1.0 / factors[i].degree); /* the t from which each is below 1 */
    qsort(factors, (size_t)count, sizeof(Factor), earlier);
    double bound = 0.8251 * 1.0085, power = -0.5, error = parts->n_bands ? 4e-8 : 2e-7; /* a band that begins at 0 nearly attains its bound */
    double end = sigma > 0.0 ? sqrt(-2.0 * log(error)) / sigma : HUGE_VAL;
    for (int i = 0; i < count; i++) {
        bound *= factors[i].constant;
        power += factors[i].degree;
        if (bound > 1e150)
            break;
        if (power > 0.0)
            end = minimum(end, pow(bound / (power * error), 1.0 / power));
    }
    return (Length){terms_of(end, 16), 0};
}

static Law *series_of(Work *work, const Parts *parts, double sigma, double lower, double upper, long most_terms)
{
    Law like = {.kind = SERIES, .lower = sigma > 0.0 ? 0.0 : lower, .upper = sigma > 0.0 ? upper + 8.5 * sigma : upper};
    Parts own = *parts;
    int count = parts->n_rings + parts->n_discs + 2 * parts->n_bands;
    double *sizes = take(work, sizeof(double) * (size_t)count), scale = like.scale = like.upper;
    if (sizes == NULL)
        return NULL;
    own.rings = sizes;
    own.discs = sizes + parts->n_rings;
    own.bands = (Band *)(own.discs + parts->n_discs);
    for (int n = 0; n < parts->n_rings; n++)
        own.rings[n] = parts->rings[n] / scale;
    for (int n = 0; n < parts->n_discs; n++)
        own.discs[n] = parts->discs[n] / scale;
    for (int n = 0; n < parts->n_bands; n++)
        own.bands[n] = (Band){parts->bands[n].low / scale, parts->bands[n].high / scale};
    like.parts = own;
    like.sigma = sigma / scale;
    Length length = own.n_discs || own.n_bands ? mixed_length(work, &own, like.sigma) : rings_length(own.rings, own.n_rings, like.sigma);
    return work->failed || length.terms > most_terms ? NULL : series(work, &like, length.terms, length.orders);
}

/* ---- tables, and the largest vector added to the law of the rest ---------------------------------------------- */

typedef double Pair __attribute__((vector_size(16))); /* of gcc and clang, on any processor */

static double polynomial(const double *c, double x)
{
    double value = c[DEGREE];
    for (int k = DEGREE - 1; k >= 0; k--)
        value = value * x + c[k];
    return value;
}

typedef struct { Table table; int room; double width; } Pieces;

static void tabulate(Work *work, Law *law, Pieces *pieces, double low, double high, int depth)
{
    double middle = 0.5 * (low + high), half = 0.5 * (high - low), values[POINTS], c[POINTS], size = 0.0, last = 0.0;
    for (int n = 0; n < POINTS; n++)
        values[n] = law_cdf(work, law, middle + half * lobatto[n]);
    for (int k = 0; k < POINTS; k++) {
        c[k] = 0.0;
        for (int n = 0; n < POINTS; n++)
            c[k] += transform[k][n] * values[n];
        size += k > 0 ? fabs(c[k]) : 0.0;
        last = k >= POINTS - 4 ? maximum(last, fabs(c[k])) : 0.0;
    }
    if (work->failed)
        return;
    double rounding = 4e-15 * high / (high - low) * size;
    if (last > 1e-8 * sqrt(pieces->width / (high - low)) + rounding && middle > low && middle < high && depth < 46) {
        tabulate(work, law, pieces, low, middle, depth + 1);
        tabulate(work, law, pieces, middle, high, depth + 1);
        return;
    }
    Table *table = &pieces->table;
    if (table->pieces == pieces->room) {
        int room = 2 * pieces->room + 32;
        double *edges = take(work, sizeof(double) * ((size_t)room + 1));
        double (*coefficients)[POINTS] = take(work, sizeof(double[POINTS]) * (size_t)room);
        if (edges == NULL || coefficients == NULL)
            return;
        if (table->pieces) {
            memcpy(edges, table->edges, sizeof(double) * (size_t)table->pieces);
            memcpy(coefficients, table->coefficients, sizeof(double[POINTS]) * (size_t)table->pieces);
        }
        table->edges = edges;
        table->coefficients = coefficients;
        pieces->room = room;
    }
    table->edges[table->pieces] = low;
    table->edges[table->pieces + 1] = high;
    double *own = table->coefficients[table->pieces++];
    for (int n = 0; n < POINTS; n++) {
        own[n] = 0.0;
        for (int k = n; k < POINTS; k++)
            own[n] += powers[k][n] * c[k];
    }
}

static Table table_of(Work *work, Law *law) /* of a law that is not a step */
{
    if (law->table.pieces)
        return law->table;
    double width = law->upper - law->lower, edges[12] = {law->upper};
    int count = 1;
    for (int depth = 1; depth <= 10; depth++) { /* toward the lower end each first piece is a quarter of the next */
        edges[count++] = law->lower + width * pow(4.0, -depth);
        if (law_cdf(work, law, edges[count - 1]) < 1e-8)
            break;
    }
    edges[count++] = law->lower;
    Pieces pieces = {.width = width};
    for (int n = count - 1; n > 0; n--)
        if (edges[n] < edges[n - 1])
            tabulate(work, law, &pieces, edges[n], edges[n - 1], 0);
    if (!work->failed)
        law->table = pieces.table;
    return pieces.table;
}

static double table_cdf(const Table *table, double r)
{
    const double *edges = table->edges;
    if (r >= edges[table->pieces])
        return 1.0;
    if (r < edges[0])
        return 0.0;
    int low = 0, high = table->pieces;
    while (high - low > 1) {
        int middle = (low + high) / 2;
        if (edges[middle] <= r)
            low = middle;
        else
            high = middle;
    }
    double local = (2.0 * r - edges[low] - edges[low + 1]) / (edges[low + 1] - edges[low]);
    return clipped(polynomial(table->coefficients[low], clipped(local, -1.0, 1.0)), 0.0, 1.0);
}

/* Taylor coefficients of sine and cosine */
static const double S3 = -1.0 / 6.0, S5 = 1.0 / 120.0, S7 = -1.0 / 5040.0, S9 = 1.0 / 362880.0, S11 = -1.0 / 39916800.0, S13 = 1.0 / 6227020800.0;
static const double C2 = -1.0 / 2.0, C4 = 1.0 / 24.0, C6 = -1.0 / 720.0, C8 = 1.0 / 40320.0, C10 = -1.0 / 3628800.0, C12 = 1.0 / 479001600.0,
                    C14 = -1.0 / 87178291200.0;

static double added(Work *work, const Table *rest, double r, double a, int disc) /* by Green's theorem */
{
    double near = fabs(r - a), far = r + a, turn = (r > a ? 1.0 : r < a ? -1.0 : 0.0), within = 0.0, chi = 0.0, span = 4.0 * a * r;
    const double *edges = rest->edges;
    charge(work, 4.0 * (rest->pieces + 1) * NODES);
    for (int piece = -1; piece < rest->pieces && chi < 0.5 * PI; piece++) {
        double reach = edges[piece + 1], last = chi;
        if (reach <= near)
            continue;
        /* beside a small vector, rounding of the sine would leave a gap before the end */
        chi = reach >= far ? 0.5 * PI : asin(minimum(sqrt((reach - near) * (reach + near) / span), 1.0));
        double half = 0.5 * (chi - last), middle = 0.5 * (chi + last), sum = 0.0;
        if (piece < 0 || !(half > 0.0))
            continue;
        double low = edges[piece], high = edges[piece + 1], over = 1.0 / (high - low), sine = sin(middle), cosine = cos(middle);
        const double *c = rest->coefficients[piece];
        double local[NODES], kernel[NODES];
        for (int n = 0; n < NODES; n++) {
            double d = half * node16[n], s = d * d; /* at most a quarter of π, where these series are exact to 1e-14 */
            double odd = ((((((S13 * s + S11) * s + S9) * s + S7) * s + S5) * s + S3) * s + 1.0) * d;
            double even = (((((((C14 * s + C12) * s + C10) * s + C8) * s + C6) * s + C4) * s + C2) * s) + 1.0;
            double up = sine * even + cosine * odd, across = cosine * even - sine * odd, square = near * near + span * up * up;
            double wave = 4.0 * r * up * across;
            local[n] = minimum(maximum((2.0 * sqrt(square) - low - high) * over, -1.0), 1.0);
            kernel[n] = weight16[n] * (disc ? wave * wave : square + turn * near * far) / square;
        }
        for (int group = 0; group < NODES; group += 8) {
            Pair value[4], x[4];
            memcpy(x, local + group, sizeof x);
            for (int i = 0; i < 4; i++)
                value[i] = (Pair){c[DEGREE], c[DEGREE]};
            for (int k = DEGREE - 1; k >= 0; k--)
                for (int i = 0; i < 4; i++)
                    value[i] = value[i] * x[i] + c[k];
            for (int i = 0; i < 4; i++)
                sum += value[i][0] * kernel[group + 2 * i] + value[i][1] * kernel[group + 2 * i + 1];
        }
        within += half * sum;
    }
    if (disc)
        return clipped(within / PI + overlap(r, a, edges[rest->pieces]), 0.0, 1.0);
    /* beyond the support of the rest its law is 1, and the integral has a closed form */
    double closed = 0.5 * PI - chi + turn * (0.5 * PI - atan2(far * sin(chi), near * cos(chi)));
    return clipped((within + closed) / PI, 0.0, 1.0);
}

static double eased(int n, double low, double high) /* a node between two ends, exact beside each */
{
    return n < BAND_NODES / 2 ? low + (high - low) * eased_node[n] : high - (high - low) * eased_node[BAND_NODES - 1 - n];
}

static double elliptic(double x, double y, double z, double square) /* Carlson's R_F(x, y, z) - (2/3)·square·R_D(x, y, z), by duplication */
{
    double part = 0.0, power = 1.0;
    for (int turn = 0; turn < 40; turn++) {
        double first = (x + y + z) / 3.0, second = 0.2 * (x + y + 3.0 * z);
        double dx = 1.0 - x / first, dy = 1.0 - y / first, ex = 1.0 - x / second, ey = 1.0 - y / second, ez = -(ex + ey) / 3.0;
        if (maximum(maximum(fabs(dx), fabs(dy)), maximum(fabs(ex), fabs(ey))) < 0.01) { /* DLMF 19.36.1 and 19.36.2 */
            double dz = -dx - dy, e2 = dx * dy - dz * dz, e3 = dx * dy * dz, product = ex * ey, s = ez * ez;
            double rf = 1.0 - e2 / 10.0 + e3 / 14.0 + e2 * e2 / 24.0 - 3.0 * e2 * e3 / 44.0;
            e2 = product - 6.0 * s;
            e3 = (3.0 * product - 8.0 * s) * ez;
            double e4 = 3.0 * (product - s) * s, e5 = product * s * ez;
            double rd = 1.0 - 3.0 * e2 / 14.0 + e3 / 6.0 + 9.0 * e2 * e2 / 88.0 - 3.0 * e4 / 22.0 - 9.0 * e2 * e3 / 52.0 + 3.0 * e5 / 26.0;
            part += power * rd / (second * sqrt(second)) / 3.0;
            return rf / sqrt(first) - 2.0 * square * part;
        }
        double rx = sqrt(x), ry = sqrt(y), rz = sqrt(z), lambda = rx * (ry + rz) + ry * rz;
        part += power / (rz * (z + lambda));
        power *= 0.25;
        x = 0.25 * (x + lambda);
        y = 0.25 * (y + lambda);
        z = 0.25 * (z + lambda);
    }
    return NAN;
}

/* With the rest at p, the share of the band within r falls by this, times its width, over an outward step. In
 * s = sin²θ it is an elliptic integral, which Carlson's forms give without cancellation (DLMF 19.29.4, 19.29.7). */
static double falling(double r, double p, double low, double high)
{
    double away = fabs(r - p), square = away * away, span = 4.0 * r * p;
    double y = clipped((low - away) * (low + away) / span, 0.0, 1.0), x = clipped((high - away) * (high + away) / span, 0.0, 1.0);
    if (!(x > y) || away == 0.0)
        return 0.0;
    double x1 = sqrt(x), x2 = sqrt(1.0 - x), x3 = sqrt(square + span * x), y1 = sqrt(y), y2 = sqrt(1.0 - y), y3 = sqrt(square + span * y);
    double over = 1.0 / (x - y), u12 = over * (x1 * x2 * y3 + y1 * y2 * x3), u13 = over * (x1 * x3 * y2 + y1 * y3 * x2);
    double u23 = maximum(over * (x2 * x3 * y1 + y2 * y3 * x1), 1e-150);
    return 2.0 * r / PI * (elliptic(u12 * u12, u13 * u13, u23 * u23, square) - 2.0 * x1 * y1 / u23);
}

static double added_band(Work *work, const Law *law, double r) /* by parts; cut where `falling` has a root or logarithm */
{
    const Table *rest = &law->rest;
    double low = law->a, high = law->b, start = rest->edges[0], reach = rest->edges[rest->pieces], near = fabs(r - reach);
    double first = maximum(low, near), last = minimum(high, r + reach), sum = maximum(0.0, minimum(high, r - reach) - low);
    double cuts[] = {fabs(r - low), r + low, fabs(r - high), r + high, r};
    for (int n = 0; n < BAND_NODES && last > first; n++) { /* the rest at its reach; two rings */
        double ring = eased(n, first, last), above = (r - ring + reach) * (r + ring - reach), below = (ring + reach - r) * (ring + reach + r);
        sum += (last - first) * eased_weight[n] * (2.0 / PI) * atan2(sqrt(maximum(above, 0.0)), sqrt(maximum(below, 0.0)));
    }
    qsort(cuts, 5, sizeof(double), descending);
    int cut = 4;
    for (int piece = 0; piece < rest->pieces && !work->failed;) {
        while (cut >= 0 && cuts[cut] <= start)
            cut--;
        double from = rest->edges[piece], to = rest->edges[piece + 1], stop = cut >= 0 && cuts[cut] < to ? cuts[cut] : to;
        charge(work, 20.0 * BAND_NODES);
        for (int n = 0; n < BAND_NODES; n++) {
            double p = eased(n, start, stop), share = polynomial(rest->coefficients[piece], (2.0 * p - from - to) / (to - from));
            sum += (stop - start) * eased_weight[n] * share * falling(r, p, low, high);
        }
        start = stop;
        piece += stop == to;
    }
    return clipped(sum / (high - low), 0.0, 1.0);
}

/* ---- distribution function and quantiles ---------------------------------------------------------------------- */

static double law_cdf(Work *work, Law *law, double r)
{
    double a = law->a, b = law->b, inside = clipped(r, law->lower, law->upper), slope;
    switch (law->kind) {
    case STEP:
        return r >= a ? 1.0 : 0.0;
    case TWO_RINGS: { /* half angles keep all digits near the ends */
        double above = (inside - law->lower) * (inside + law->lower), below = (law->upper - inside) * (law->upper + inside);
        return atan2(sqrt(above), sqrt(below)) * (2.0 / PI);
    }
    case GAUSSIAN: {
        double ratio = minimum(maximum(r, 0.0) / a, 1e3);
        return -expm1(-0.5 * ratio * ratio);
    }
    case DISC:
        return (inside / a) * (inside / a);
    case BAND:
        return (inside - law->lower) / (law->upper - law->lower);
    default:
        break;
    }
    if (law->kind == DISC_RING || law->kind == TWO_DISCS)
        charge(work, 20.0);
    if (r >= law->upper)
        return 1.0;
    if (r <= law->lower || r <= 0.0 || work->failed)
        return 0.0;
    switch (law->kind) {
    case DISC_RING:
        return overlap(r, a, b);
    case TWO_DISCS:
        return two_discs(r, a, b);
    case SERIES:
        return clipped(series_value(work, law, r / law->scale, &slope), 0.0, 1.0);
    case ADDED_BAND:
        return added_band(work, law, r);
    default:
        return added(work, &law->rest, r, a, law->kind == ADDED_DISC);
    }
}

/* Chandrupatla's rule (1997), until the probability is met within `enough` or the radius within rounding. */
static double bracketed(Work *work, Law *law, double p, double enough)
{
    double low = law->lower, high = law->upper, low_miss = -p, high_miss = 1.0 - p, part = 0.5, best = high;
    for (int step = 0; step < 100 && !work->failed; step++) {
        double trial = low + part * (high - low), miss = law_cdf(work, law, trial) - p, third = low, third_miss = low_miss;
        if ((miss > 0.0) != (low_miss > 0.0)) {
            third = high;
            third_miss = high_miss;
            high = low;
            high_miss = low_miss;
        }
        low = trial;
        low_miss = miss;
        best = fabs(low_miss) <= fabs(high_miss) ? low : high;
        double width = fabs(high - low), rounding = 4e-16 * maximum(fabs(low), fabs(high));
        if (minimum(fabs(low_miss), fabs(high_miss)) <= enough || width <= rounding)
            break;
        double xi = (low - high) / (third - high), phi = (low_miss - high_miss) / (third_miss - high_miss);
        double quadratic = low_miss / (high_miss - low_miss) * third_miss / (high_miss - third_miss)
            + (third - low) / (high - low) * low_miss / (third_miss - low_miss) * high_miss / (third_miss - high_miss);
        part = phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi && isfinite(quadratic) ? quadratic : 0.5;
        double least = minimum(0.5, 0.5 * rounding / maximum(width, 1e-300));
        part = clipped(part, least, 1.0 - least);
    }
    return best;
}

static double series_quantile(Work *work, Law *law, double p) /* Newton's rule, kept in a bracket */
{
    const Parts *parts = &law->parts;
    double low = law->lower, high = law->upper, mean = 2.0 * law->sigma * law->sigma, last = 1.0;
    for (int n = 0; n < parts->n_rings; n++)
        mean += parts->rings[n] * parts->rings[n];
    for (int n = 0; n < parts->n_discs; n++)
        mean += 0.5 * parts->discs[n] * parts->discs[n];
    for (int n = 0; n < parts->n_bands; n++)
        mean += parts->bands[n].high * parts->bands[n].high / 3.0;
    double r = sqrt(-mean * log1p(-p)) * law->scale; /* of the plane Gaussian with the same mean square */
    /* a guess by ever more of the terms, from one Newton step each once it is near */
    for (long few = 128; few < law->terms || few == 128; few *= 8)
        for (int step = 0; step < 8 && !work->failed; step++) {
            double position = clipped(r, low + 0.02 * (high - low), high - 0.02 * (high - low)) / law->scale, slope;
            double miss = sum_of(work, law, few < law->terms ? few : law->terms, position, &slope) - p;
            r = slope > 0.0 ? (position - miss / slope) * law->scale : 0.5 * (low + high);
            if (fabs(miss) < 1e-3)
                break;
        }
    int smooth = parts->n_rings + 3 * parts->n_discs + 2 * parts->n_bands; /* the law has a kink of |x|^((smooth - 1)/2) */
    for (int step = 0; step < 200 && !work->failed; step++) {
        if (!(r > low && r < high))
            r = 0.5 * (low + high);
        double slope, miss = series_value(work, law, r / law->scale, &slope) - p, next = r - miss / slope * law->scale;
        if (fabs(miss) < 1e-9 || high - low <= 4e-16 * high)
            break;
        if (miss < 0.0)
            low = r;
        else
            high = r;
        if (smooth > 4 && 4.0 * miss * miss < 1e-9 && next > low && next < high)
            return next;
        r = fabs(miss) < 0.5 * last && slope > 0.0 ? next : 0.5 * (low + high);
        last = fabs(miss) < 0.5 * last ? fabs(miss) : 1.0;
    }
    return r;
}

static double law_quantile(Work *work, Law *law, double p)
{
    double half = p * (PI / 2.0), a = law->a;
    switch (law->kind) {
    case STEP:
        return a;
    case TWO_RINGS:
        return clipped(hypot(law->lower * cos(half), law->upper * sin(half)), law->lower, law->upper);
    case GAUSSIAN:
        return a * sqrt(-2.0 * log1p(-p));
    case DISC:
        return a * sqrt(p);
    case BAND:
        return law->lower + (law->upper - law->lower) * p;
    default:
        break;
    }
    if (p <= 0.0 || p >= 1.0)
        return p <= 0.0 ? law->lower : law->upper;
    if (law->kind == SERIES)
        return series_quantile(work, law, p);
    return bracketed(work, law, p, law->kind == DISC_RING || law->kind == TWO_DISCS ? 1e-15 : 1e-9);
}

/* ---- choice of the law ---------------------------------------------------------------------------------------- */

static Law *closed(Work *work, Kind kind, double a, double b, double lower, double upper)
{
    Law *law = take(work, sizeof(Law));
    if (law != NULL)
        *law = (Law){.kind = kind, .a = a, .b = b, .lower = lower, .upper = upper};
    return law;
}

static int wider_last(const void *one, const void *other) /* by the greatest amplitude, descending */
{
    return descending(&((const Band *)one)->high, &((const Band *)other)->high);
}

static Law *law_of(Work *work, Parts parts, double sigma, long most_terms)
{
    int rings = parts.n_rings, discs = parts.n_discs, bands = parts.n_bands, all = rings + discs + bands;
    double lower = least_of(&parts), upper = total_of(&parts);
    if (sigma > 0.0) {
        if (all == 0)
            return closed(work, GAUSSIAN, sigma, 0.0, 0.0, 8.5 * sigma);
        lower = 0.0;
    } else if (all == 0 || (rings == 1 && all == 1))
        return closed(work, STEP, upper, 0.0, upper, upper);
    else if (rings == 2 && all == 2)
        return closed(work, TWO_RINGS, parts.rings[0], parts.rings[1], parts.rings[0] - parts.rings[1], upper);
    else if (discs == 1 && all == 1)
        return closed(work, DISC, upper, 0.0, 0.0, upper);
    else if (bands == 1 && all == 1)
        return closed(work, BAND, 0.0, 0.0, lower, upper);
    else if (rings == 1 && discs == 1 && all == 2)
        return closed(work, DISC_RING, parts.discs[0], parts.rings[0], lower, upper);
    else if (discs == 2 && all == 2)
        return closed(work, TWO_DISCS, parts.discs[0], parts.discs[1], lower, upper);
    /* with two others only, whose law is closed, adding the largest soon costs less than the series */
    Law *found = series_of(work, &parts, sigma, lower, upper, all == 3 && bands == 0 && sigma == 0.0 && most_terms > 1024 ? 1024 : most_terms);
    if (found != NULL || work->failed)
        return found;
    double ring = rings ? parts.rings[0] : 0.0, disc = discs ? parts.discs[0] : 0.0;
    Kind kind = ring == 0.0 && disc == 0.0 ? ADDED_BAND : ring >= disc ? ADDED_RING : ADDED_DISC;
    Parts others = parts;
    if (kind == ADDED_BAND)
        others.bands++, others.n_bands--;
    else if (kind == ADDED_RING)
        others.rings++, others.n_rings--;
    else
        others.discs++, others.n_discs--;
    Law *rest = law_of(work, others, sigma, MOST_TERMS_IN_TABLE);
    found = rest ? closed(work, kind, 0.0, 0.0, 0.0, 0.0) : NULL;
    if (found == NULL)
        return NULL;
    found->rest = table_of(work, rest);
    if (work->failed)
        return NULL;
    double reach = found->rest.edges[found->rest.pieces];
    found->a = kind == ADDED_RING ? ring : disc;
    found->lower = sigma > 0.0 && kind == ADDED_RING ? maximum(0.0, ring - reach) : lower;
    found->upper = sigma > 0.0 ? found->a + reach : upper;
    if (kind == ADDED_BAND) {
        found->a = parts.bands[0].low;
        found->b = parts.bands[0].high;
        found->lower = maximum(0.0, found->a - reach);
        found->upper = found->b + reach;
    }
    return found;
}

/* P(R1 < R2) = the integral of F1 dF2, exact for the polynomials of two tables. */
static double less_by_tables(const Table *weight, const Table *measure)
{
    double start = maximum(weight->edges[0], measure->edges[0]);
    double stop = minimum(weight->edges[weight->pieces], measure->edges[measure->pieces]);
    double sum = 1.0 - table_cdf(measure, weight->edges[weight->pieces]); /* there the first law is 1 */
    int i = 0, k = 0;
    for (double low = start; low < stop;) {
        while (i < weight->pieces - 1 && weight->edges[i + 1] <= low)
            i++;
        while (k < measure->pieces - 1 && measure->edges[k + 1] <= low)
            k++;
        double high = minimum(stop, minimum(weight->edges[i + 1], measure->edges[k + 1]));
        double middle = 0.5 * (low + high), half = 0.5 * (high - low), slopes[POINTS] = {0.0};
        double from = measure->edges[k], width = measure->edges[k + 1] - from;
        const double *c = measure->coefficients[k];
        for (int n = 0; n < DEGREE; n++)
            slopes[n] = (n + 1) * c[n + 1];
        for (int n = 0; n < DEGREE; n++) {
            double r = middle + half * node12[n], local = 2.0 * (r - from) / width - 1.0;
            sum += weight12[n] * half * table_cdf(weight, r) * polynomial(slopes, local) * (2.0 / width);
        }
        low = high;
    }
    return sum;
}

/* ---- for Python ----------------------------------------------------------------------------------------------- */

typedef struct {
    PyObject_HEAD
    Law *law;
    Block *blocks;
    PyObject *charge;
} LawObject;

static double *doubles(Work *work, PyObject *sequence, int *count) /* a copy */
{
    PyObject *fast = PySequence_Fast(sequence, "a sequence of numbers is expected");
    Py_ssize_t size = fast ? PySequence_Fast_GET_SIZE(fast) : 0;
    double *found = fast && size < 1000000 ? take(work, sizeof(double) * (size_t)size) : NULL;
    if (found == NULL) {
        if (!PyErr_Occurred())
            PyErr_SetString(PyExc_ValueError, "too many numbers");
        work->failed = 1;
    }
    for (Py_ssize_t n = 0; n < size && !work->failed; n++) {
        found[n] = PyFloat_AsDouble(PySequence_Fast_GET_ITEM(fast, n));
        if (PyErr_Occurred())
            work->failed = 1;
    }
    *count = (int)size;
    Py_XDECREF(fast);
    return found;
}

static int all_finite(const double *values, int count)
{
    for (int n = 0; n < count; n++)
        if (!(values[n] >= 0.0 && values[n] < 1e300))
            return 0;
    return 1;
}

static PyObject *law_new(PyTypeObject *type, PyObject *args, PyObject *keywords)
{
    static char *names[] = {"rings", "sigma", "discs", "lows", "highs", "charge", NULL};
    PyObject *rings, *discs, *lows, *highs, *charged;
    double sigma;
    if (!PyArg_ParseTupleAndKeywords(args, keywords, "OdOOOO:Law", names, &rings, &sigma, &discs, &lows, &highs, &charged))
        return NULL;
    LawObject *self = (LawObject *)type->tp_alloc(type, 0);
    if (self == NULL)
        return NULL;
    self->charge = Py_NewRef(charged);
    Work work = {.charge = charged, .blocks = &self->blocks};
    Parts parts = {0};
    int n_lows = 0, n_highs = 0;
    double *low = NULL, *high = NULL;
    parts.rings = doubles(&work, rings, &parts.n_rings);
    if (!work.failed)
        parts.discs = doubles(&work, discs, &parts.n_discs);
    if (!work.failed)
        low = doubles(&work, lows, &n_lows);
    if (!work.failed)
        high = doubles(&work, highs, &n_highs);
    if (!work.failed && (n_lows != n_highs || !all_finite(parts.rings, parts.n_rings) || !all_finite(parts.discs, parts.n_discs)
                         || !all_finite(low, n_lows) || !all_finite(high, n_highs) || !all_finite(&sigma, 1))) {
        PyErr_SetString(PyExc_ValueError, "sizes are finite and zero or more, and a band has two ends");
        work.failed = 1;
    }
    double *all = work.failed ? NULL : take(&work, sizeof(double) * (size_t)(parts.n_rings + n_lows));
    parts.bands = work.failed ? NULL : take(&work, sizeof(Band) * (size_t)n_lows);
    if (!work.failed) {
        charge(&work, 10000.0);
        long double sum = 0.0L;
        for (int n = 0; n < parts.n_rings; n++)
            sum += parts.rings[n];
        for (int n = 0; n < parts.n_discs; n++)
            sum += parts.discs[n];
        for (int n = 0; n < n_highs; n++)
            sum += high[n];
        double least = 1e-15 * maximum((double)sum, sigma); /* within rounding of the sum */
        int kept = 0, discs_kept = 0;
        for (int n = 0; n < parts.n_rings; n++)
            if (parts.rings[n] > least)
                all[kept++] = parts.rings[n];
        for (int n = 0; n < n_lows; n++)
            if (high[n] - low[n] <= 1e-9 * high[n]) { /* narrow enough for a ring */
                if (high[n] > least)
                    all[kept++] = high[n];
            } else if (high[n] > least)
                parts.bands[parts.n_bands++] = (Band){low[n], high[n]};
        for (int n = 0; n < parts.n_discs; n++)
            if (parts.discs[n] > least)
                parts.discs[discs_kept++] = parts.discs[n];
        parts.rings = all;
        parts.n_rings = kept;
        parts.n_discs = discs_kept;
        qsort(all, (size_t)kept, sizeof(double), descending);
        qsort(parts.discs, (size_t)discs_kept, sizeof(double), descending);
        qsort(parts.bands, (size_t)parts.n_bands, sizeof(Band), wider_last);
        self->law = law_of(&work, parts, sigma <= 1e-15 * (double)sum ? 0.0 : sigma, MOST_TERMS);
        settle(&work);
    }
    if (work.failed || self->law == NULL) {
        Py_DECREF(self);
        return NULL;
    }
    return (PyObject *)self;
}

static void law_dealloc(LawObject *self)
{
    PyTypeObject *type = Py_TYPE(self);
    release(self->blocks);
    Py_XDECREF(self->charge);
    type->tp_free((PyObject *)self);
    Py_DECREF(type);
}

typedef double (*Figure)(Work *work, Law *law, double at);

static PyObject *each(LawObject *self, PyObject *sequence, Figure figure) /* a figure for each number of a sequence */
{
    Block *own = NULL;
    Work work = {.charge = self->charge, .blocks = &own}, lasting = {.charge = self->charge, .blocks = &self->blocks};
    int count = 0;
    double *values = doubles(&work, sequence, &count);
    if (!work.failed)
        for (int n = 0; n < count && !lasting.failed; n++)
            values[n] = figure(&lasting, self->law, values[n]);
    settle(&lasting);
    PyObject *found = work.failed || lasting.failed ? NULL : PyList_New(count);
    for (int n = 0; n < count && found != NULL; n++) {
        PyObject *value = PyFloat_FromDouble(values[n]);
        if (value == NULL)
            Py_CLEAR(found);
        else
            PyList_SET_ITEM(found, n, value);
    }
    release(own);
    return found;
}

static PyObject *law_get_cdf(LawObject *self, PyObject *radii) { return each(self, radii, law_cdf); }

static PyObject *law_get_quantiles(LawObject *self, PyObject *probabilities) { return each(self, probabilities, law_quantile); }

static PyObject *law_less(LawObject *self, PyObject *other)
{
    if (Py_TYPE(other) != Py_TYPE(self))
        return PyErr_Format(PyExc_TypeError, "a law is expected");
    LawObject *second = (LawObject *)other;
    if (self->law->kind == STEP || second->law->kind == STEP)
        return PyErr_Format(PyExc_ValueError, "a step has no table");
    Work work = {.charge = self->charge, .blocks = &self->blocks}, others = {.charge = self->charge, .blocks = &second->blocks};
    Table weight = table_of(&work, self->law), measure = {0};
    settle(&work);
    if (!work.failed)
        measure = table_of(&others, second->law);
    settle(&others);
    return work.failed || others.failed ? NULL : PyFloat_FromDouble(clipped(less_by_tables(&weight, &measure), 0.0, 1.0));
}

static PyObject *law_lower(LawObject *self, void *unused) { (void)unused; return PyFloat_FromDouble(self->law->lower); }
static PyObject *law_upper(LawObject *self, void *unused) { (void)unused; return PyFloat_FromDouble(self->law->upper); }
static PyObject *law_kind(LawObject *self, void *unused) { (void)unused; return PyUnicode_FromString(kind_names[self->law->kind]); }
static PyObject *law_terms(LawObject *self, void *unused) { (void)unused; return PyLong_FromLong(self->law->terms); }

static PyMethodDef law_methods[] = {
    {"cdf", (PyCFunction)law_get_cdf, METH_O, "Return P(R <= r) of each radius."},
    {"quantiles", (PyCFunction)law_get_quantiles, METH_O, "Return the radius of each probability."},
    {"less", (PyCFunction)law_less, METH_O, "Return the probability that this resultant is less than that of another law."},
    {NULL, NULL, 0, NULL},
};

static PyGetSetDef law_members[] = {
    {"lower", (getter)law_lower, NULL, "Least possible resultant.", NULL},
    {"upper", (getter)law_upper, NULL, "Greatest possible resultant, or one exceeded with a probability below 1e-15.", NULL},
    {"kind", (getter)law_kind, NULL, "How the law is computed.", NULL},
    {"terms", (getter)law_terms, NULL, "Terms of a series, else 0.", NULL},
    {NULL, NULL, NULL, NULL, NULL},
};

static PyType_Slot law_slots[] = {
    {Py_tp_new, law_new}, {Py_tp_dealloc, law_dealloc}, {Py_tp_methods, law_methods}, {Py_tp_getset, law_members},
    {Py_tp_doc, "Law of the resultant of vectors at random angles."}, {0, NULL},
};

static PyType_Spec law_spec = {
    "rules.kernel._laws.Law", sizeof(LawObject), 0, Py_TPFLAGS_DEFAULT | Py_TPFLAGS_IMMUTABLETYPE, law_slots,
};

static PyObject *bessel_nodes(PyObject *self, PyObject *count) /* zeros of J0 and weights of the series */
{
    (void)self;
    long terms = PyLong_AsLong(count);
    if (terms < 0)
        return PyErr_Occurred() ? NULL : PyErr_Format(PyExc_ValueError, "a number of terms is 0 or more");
    PyObject *first = PyList_New(terms), *second = PyList_New(terms);
    for (long k = 0; k < terms && first != NULL && second != NULL; k++) {
        PyList_SET_ITEM(first, k, PyFloat_FromDouble(zero_of(k)));
        PyList_SET_ITEM(second, k, PyFloat_FromDouble(weight_of(k)));
    }
    return Py_BuildValue("NN", first, second);
}

static PyMethodDef functions[] = {
    {"bessel_nodes", bessel_nodes, METH_O, "Return the first zeros of J0 and the weights of the series."},
    {NULL, NULL, 0, NULL},
};

#ifndef SOURCE
#define SOURCE "" /* digest of this file, where the build states it */
#endif

static struct PyModuleDef definition = {PyModuleDef_HEAD_INIT, "_laws", NULL, -1, functions, NULL, NULL, NULL, NULL};

PyMODINIT_FUNC PyInit__laws(void)
{
    fill_tables();
    PyObject *module = PyModule_Create(&definition), *type = PyType_FromSpec(&law_spec);
    if (module == NULL || type == NULL || PyModule_AddObjectRef(module, "Law", type) < 0
        || PyModule_AddStringConstant(module, "SOURCE", SOURCE) < 0) {
        Py_XDECREF(type);
        Py_XDECREF(module);
        return NULL;
    }
    Py_DECREF(type);
    return module;
}
