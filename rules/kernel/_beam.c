/* Bending frequencies of a stepped beam, compiled.
 *
 * The elements and their mass matrix are those of tests/oracles/beam_frequencies.py, the same computation in Python,
 * with its sources. There the matrix is solved as a whole. Here it is only multiplied with vectors: an entry is a sum
 * of two products, one factor of the row and one of the column, so running sums give the product in one pass, and
 * Lanczos's method needs few of them for the largest eigenvalues, those of the lowest frequencies.
 */
#define PY_SSIZE_T_CLEAN
#include <Python.h>
#include <float.h>
#include <math.h>
#include <string.h>

static const double PI = 3.14159265358979323846;
static const double RESOLVED = 1e-12; /* share of the largest eigenvalue below which another is within rounding */
static const double CONVERGED = 1e-13;

typedef struct { double length, stiffness, mass, shear, rotary; } Segment;

/* An element, or a spring as one without length and mass and with compliances of one. */
typedef struct { double length, mass, bending, shift, bent_share, rotary; int joint; } Element;

/* Two rows of the mass matrix, bending and shift: p, q of the row and a, b of the column, and what is on the diagonal
 * or beside it. An entry of row i and a column j nearer the root is p_j·a_i + q_j·b_i. */
typedef struct { double p[2], q[2], a[2], b[2], own[2], between; int joint; } Rows;

/* Elements from the tip to the root; neighbours of equal section are joined first. */
static int chain_of(const Segment *segments, int count, const int *joints, int n_joints, double elements, Element *chain)
{
    double phases = 0.0;
    int made = 0;
    for (int n = 0; n < count; n++)
        phases += segments[n].length * sqrt(sqrt(segments[n].mass / segments[n].stiffness));
    /* the margin prevents rounding up from a whole number of wavelengths */
    double per_phase = phases > 0.0 ? elements * (1.0 - 1e-6) / phases : 0.0;
    int joint = n_joints - 1;
    for (int end = count; end >= 0;) {
        if (joint >= 0 && joints[joint] == end)
            chain[made++] = (Element){.bending = 1.0, .shift = 1.0, .bent_share = 1.0, .joint = joint--};
        if (end == 0)
            break;
        Segment one = segments[--end];
        for (; end > 0 && memcmp(&segments[end - 1].stiffness, &one.stiffness, 4 * sizeof(double)) == 0 && !(joint >= 0 && joints[joint] == end); end--)
            one.length += segments[end - 1].length;
        double times = fmax(1.0, ceil(per_phase * one.length * sqrt(sqrt(one.mass / one.stiffness))));
        double part = one.length / times, bending = part / one.stiffness, bent = bending * part * part / 12.0, shift = bent + part / one.shear;
        for (int n = 0; n < (int)times; n++)
            chain[made++] = (Element){part, part * one.mass, bending, shift, bent / shift, part * one.rotary, -1};
    }
    return made;
}

/* The mass matrix of deformations of unit energy, and the mass. In an element of length l, bending by one radian moves
 * a point by g = x²/(2·l) and turns it by x/l, with x from its root end. A shift by one moves it by
 * g = b·(3ξ² - 2ξ³) + (1 - b)·ξ and turns it by 6·b·(ξ - ξ²)/l, with ξ = x/l and b the share of bending in the shift.
 * The beam beyond its tip end, with the moments of mass m0, m1, m2 about that end, moves as a rigid body. */
static double mass_matrix(const Element *chain, int count, double tip_mass, Rows *rows)
{
    double m0 = tip_mass, m1 = 0.0, m2 = 0.0, far = 0.0;
    for (int n = 0; n < count; n++) {
        double l = chain[n].length, mass = chain[n].mass, b = chain[n].bent_share, s = 1.0 - b, rotary = chain[n].rotary;
        double bent = sqrt(chain[n].bending), slid = sqrt(chain[n].shift), own = mass * l, beyond = m0 * l;
        far += l;
        double pull_bent = m1 + own / 6.0 + beyond / 2.0, pull_slid = m0 + mass / 2.0; /* ∫m·g */
        double turn_bent = m2 + rotary / 2.0 + l * (1.5 * m1 + own / 8.0 + beyond / 2.0); /* ∫m·g·x + ∫J·turn */
        double turn_slid = m1 + (0.35 * b + s / 3.0) * own + beyond, per_length = l > 0.0 ? b * rotary / l : 0.0;
        rows[n] = (Rows){
            {(far - 0.5 * l) * bent, slid},
            {bent, 0.0},
            {pull_bent * bent, pull_slid * slid},
            {(turn_bent - far * pull_bent) * bent, (turn_slid + per_length - far * pull_slid) * slid},
            {(m2 + rotary / 3.0 + l * (m1 + own / 20.0 + beyond / 4.0)) * chain[n].bending,
             (m0 + (13.0 / 35.0 * b * b + 0.7 * b * s + s * s / 3.0) * mass + (per_length > 0.0 ? 1.2 * b * per_length / l : 0.0)) * chain[n].shift},
            (m1 + (2.0 / 15.0 * b + s / 8.0) * own + beyond / 2.0 + per_length / 2.0) * bent * slid,
            chain[n].joint,
        };
        m2 += rotary + l * (2.0 * m1 + l * (m0 + mass / 3.0));
        m1 += l * (m0 + 0.5 * mass);
        m0 += mass;
    }
    return m0;
}

/* The matrix times a vector; the rows of a spring are scaled by the roots of its compliances. */
static void multiply(const Rows *rows, int count, const double *scale, const double *x, double *y)
{
    double sum_p = 0.0, sum_q = 0.0, sum_a = 0.0, sum_b = 0.0;
    for (int n = 0; n < count; n++) { /* what lies nearer the tip */
        const Rows *row = &rows[n];
        double x0 = x[2 * n] * scale[2 * n], x1 = x[2 * n + 1] * scale[2 * n + 1];
        y[2 * n] = row->p[0] * sum_a + row->q[0] * sum_b + row->own[0] * x0 + row->between * x1;
        y[2 * n + 1] = row->p[1] * sum_a + row->q[1] * sum_b + row->own[1] * x1 + row->between * x0;
        sum_a += row->a[0] * x0 + row->a[1] * x1;
        sum_b += row->b[0] * x0 + row->b[1] * x1;
    }
    for (int n = count - 1; n >= 0; n--) { /* and nearer the root */
        const Rows *row = &rows[n];
        for (int k = 0; k < 2; k++)
            y[2 * n + k] = (y[2 * n + k] + row->a[k] * sum_p + row->b[k] * sum_q) * scale[2 * n + k];
        sum_p += row->p[0] * x[2 * n] * scale[2 * n] + row->p[1] * x[2 * n + 1] * scale[2 * n + 1];
        sum_q += row->q[0] * x[2 * n] * scale[2 * n] + row->q[1] * x[2 * n + 1] * scale[2 * n + 1];
    }
}

static double dot(const double *x, const double *y, int size)
{
    double sum = 0.0;
    for (int n = 0; n < size; n++)
        sum += x[n] * y[n];
    return sum;
}

static int above(const double *diagonal, const double *square, int size, double x) /* number of eigenvalues above x */
{
    int found = 0;
    double d = 1.0;
    for (int n = 0; n < size; n++) {
        d = diagonal[n] - x - (n > 0 ? square[n - 1] / d : 0.0);
        if (d == 0.0)
            d = -DBL_MIN;
        found += d > 0.0;
    }
    return found;
}

/* The largest eigenvalues of the tridiagonal matrix, by halving. */
static void largest_of(const double *diagonal, const double *square, int size, double *found, int wanted)
{
    double top = 0.0;
    for (int n = 0; n < size; n++) {
        double reach = fabs(diagonal[n]) + (n > 0 ? sqrt(square[n - 1]) : 0.0) + (n + 1 < size ? sqrt(square[n]) : 0.0);
        top = reach > top ? reach : top;
    }
    for (int k = 0; k < wanted; k++) {
        double low = 0.0, high = top;
        while (high - low > 2e-16 * high && high > RESOLVED * 1e-3 * top) {
            double middle = low > 0.0 ? 0.5 * (low + high) : 0.25 * high;
            if (middle <= low || middle >= high)
                break;
            if (above(diagonal, square, size, middle) > k)
                low = middle;
            else
                high = middle;
        }
        found[k] = low;
        top = high;
    }
}

/* The largest eigenvalues, by Lanczos's method with all vectors kept orthogonal, until further steps change none. */
static int lanczos(const Rows *rows, int count, const double *scale, double *space, double *found, int wanted)
{
    int size = 2 * count, known = 0;
    double *diagonal = space, *square = space + size, *y = square + size, *vectors = y + size, norm = 0.0;
    for (int step = 0; step < size; step++) {
        double *x = vectors + (size_t)step * (size_t)size, length = step > 0 ? sqrt(square[step - 1]) : 0.0;
        if (step > 0 && length > 1e-15 * norm)
            for (int n = 0; n < size; n++)
                x[n] = y[n] / length;
        else { /* a start, at first or where the vectors so far span all that they lead to: like no mode */
            for (int n = 0; n < size; n++)
                x[n] = cos((n + 1.0) * sqrt(step + 2.0));
            for (int turn = 0; turn < 2; turn++)
                for (int k = 0; k < step; k++) {
                    const double *other = vectors + (size_t)k * (size_t)size;
                    double share = dot(x, other, size);
                    for (int n = 0; n < size; n++)
                        x[n] -= share * other[n];
                }
            double own = sqrt(dot(x, x, size));
            if (step > 0)
                square[step - 1] = 0.0;
            for (int n = 0; n < size; n++)
                x[n] /= own;
        }
        multiply(rows, count, scale, x, y);
        diagonal[step] = dot(x, y, size);
        for (int turn = 0; turn < 2; turn++)
            for (int k = step; k >= 0; k--) {
                const double *other = vectors + (size_t)k * (size_t)size;
                double share = dot(y, other, size);
                for (int n = 0; n < size; n++)
                    y[n] -= share * other[n];
            }
        square[step] = dot(y, y, size);
        norm = fmax(norm, fabs(diagonal[step]) + sqrt(square[step]));
        int done = step + 1;
        if (done < size && (done < 2 * wanted + 6 || done % 4))
            continue;
        int same = known;
        for (int k = 0; k < wanted && same && done < size; k++) /* eigenvalues only rise with further steps */
            same = above(diagonal, square, done, found[k] + CONVERGED * found[k] + RESOLVED * CONVERGED * found[0]) <= k;
        if (same && done < size)
            break;
        largest_of(diagonal, square, done, found, wanted);
        known = 1;
    }
    return 0;
}

static int numbers(PyObject *sequence, double *found, Py_ssize_t expected)
{
    PyObject *fast = PySequence_Fast(sequence, "a sequence of numbers is expected");
    int right = fast != NULL && PySequence_Fast_GET_SIZE(fast) == expected;
    if (fast != NULL && !right)
        PyErr_Format(PyExc_ValueError, "%zd numbers are expected, not %zd", expected, PySequence_Fast_GET_SIZE(fast));
    for (Py_ssize_t n = 0; right && n < expected; n++) {
        found[n] = PyFloat_AsDouble(PySequence_Fast_GET_ITEM(fast, n));
        right = !PyErr_Occurred();
    }
    Py_XDECREF(fast);
    return right;
}

typedef struct { Segment *segments; int *joints; Element *chain; Rows *rows; double *scale, *compliances, *space, *found; } Memory;

static PyObject *solved(Memory *memory, PyObject *segments, PyObject *joints, PyObject *sets, double tip_mass, Py_ssize_t wanted, double elements, PyObject *charge)
{
    Py_ssize_t count = PySequence_Fast_GET_SIZE(segments), n_joints = PySequence_Fast_GET_SIZE(joints), n_sets = PySequence_Fast_GET_SIZE(sets);
    memory->segments = PyMem_Calloc((size_t)count + 1, sizeof(Segment));
    memory->joints = PyMem_Calloc((size_t)n_joints + 1, sizeof(int));
    memory->compliances = PyMem_Calloc(2 * (size_t)n_joints + 1, sizeof(double));
    Py_ssize_t most = 2 * count + n_joints + (Py_ssize_t)elements + 4;
    memory->chain = PyMem_Calloc((size_t)most, sizeof(Element));
    if (!memory->segments || !memory->joints || !memory->compliances || !memory->chain)
        return PyErr_NoMemory();
    for (Py_ssize_t n = 0; n < count; n++) {
        Segment *one = &memory->segments[n];
        if (!numbers(PySequence_Fast_GET_ITEM(segments, n), (double *)one, 5))
            return NULL;
        if (!(one->length > 0.0 && one->stiffness > 0.0 && one->mass >= 0.0 && one->shear > 0.0 && one->rotary >= 0.0))
            return PyErr_Format(PyExc_ValueError, "a segment has positive sizes");
    }
    for (Py_ssize_t n = 0; n < n_joints; n++) {
        long place = PyLong_AsLong(PySequence_Fast_GET_ITEM(joints, n));
        if (PyErr_Occurred())
            return NULL;
        if (place < 0 || place > count || (n > 0 && place <= memory->joints[n - 1]))
            return PyErr_Format(PyExc_ValueError, "joints are boundaries of segments, in order");
        memory->joints[n] = (int)place;
    }
    int made = chain_of(memory->segments, (int)count, memory->joints, (int)n_joints, elements, memory->chain), size = 2 * made;
    memory->rows = PyMem_Calloc((size_t)made, sizeof(Rows));
    memory->scale = PyMem_Calloc((size_t)size, sizeof(double));
    memory->space = PyMem_Calloc((size_t)size * ((size_t)size + 3), sizeof(double));
    memory->found = PyMem_Calloc((size_t)wanted + 1, sizeof(double));
    if (!memory->rows || !memory->scale || !memory->space || !memory->found)
        return PyErr_NoMemory();
    if (!(mass_matrix(memory->chain, made, tip_mass, memory->rows) >= 1e-24))
        return PyErr_Format(PyExc_ValueError, "a beam without mass has no frequency");
    PyObject *every = PyTuple_New(n_sets);
    for (Py_ssize_t n = 0; every != NULL && n < n_sets; n++) {
        PyObject *counted = PyObject_CallFunction(charge, "L", 10LL * size * size);
        if (counted == NULL || !numbers(PySequence_Fast_GET_ITEM(sets, n), memory->compliances, 2 * n_joints)) {
            Py_XDECREF(counted);
            Py_CLEAR(every);
            break;
        }
        Py_DECREF(counted);
        for (int k = 0; k < size; k++) {
            int joint = memory->rows[k / 2].joint;
            memory->scale[k] = joint < 0 ? 1.0 : sqrt(memory->compliances[2 * joint + k % 2]);
        }
        int most_found = (int)(wanted < size ? wanted : size), resolved = 0;
        lanczos(memory->rows, made, memory->scale, memory->space, memory->found, most_found);
        while (resolved < most_found && memory->found[resolved] > RESOLVED * memory->found[0])
            resolved++;
        PyObject *own = PyTuple_New(resolved);
        for (int k = 0; own != NULL && k < resolved; k++) {
            PyObject *value = PyFloat_FromDouble(sqrt(1000.0 / memory->found[k]) / (2.0 * PI)); /* kg·mm/N are 10⁻³ s² */
            if (value == NULL)
                Py_CLEAR(own);
            else
                PyTuple_SET_ITEM(own, k, value);
        }
        if (own == NULL)
            Py_CLEAR(every);
        else
            PyTuple_SET_ITEM(every, n, own);
    }
    return every;
}

static PyObject *frequencies(PyObject *self, PyObject *args)
{
    PyObject *given[3], *fast[3] = {NULL}, *charge, *found = NULL;
    double tip_mass, elements;
    Py_ssize_t wanted;
    Memory memory = {0};
    (void)self;
    if (!PyArg_ParseTuple(args, "OOOdndO:frequencies", &given[0], &given[1], &given[2], &tip_mass, &wanted, &elements, &charge))
        return NULL;
    if (wanted < 1 || !(elements >= 1.0 && elements <= 1e6) || !(tip_mass >= 0.0))
        return PyErr_Format(PyExc_ValueError, "at least one frequency and one element");
    int right = 1;
    for (int n = 0; n < 3; n++)
        right = right && (fast[n] = PySequence_Fast(given[n], "a sequence is expected")) != NULL;
    if (right && PySequence_Fast_GET_SIZE(fast[0]) > 10000)
        PyErr_SetString(PyExc_ValueError, "too many segments");
    else if (right)
        found = solved(&memory, fast[0], fast[1], fast[2], tip_mass, wanted, elements, charge);
    for (int n = 0; n < 3; n++)
        Py_XDECREF(fast[n]);
    PyMem_Free(memory.segments);
    PyMem_Free(memory.joints);
    PyMem_Free(memory.compliances);
    PyMem_Free(memory.chain);
    PyMem_Free(memory.rows);
    PyMem_Free(memory.scale);
    PyMem_Free(memory.space);
    PyMem_Free(memory.found);
    return found;
}

static PyMethodDef functions[] = {
    {"frequencies", frequencies, METH_VARARGS, "Return the lowest bending frequencies, Hz, for each set of springs."},
    {NULL, NULL, 0, NULL},
};

#ifndef SOURCE
#define SOURCE "" /* digest of this file, where the build states it */
#endif

static struct PyModuleDef definition = {PyModuleDef_HEAD_INIT, "_beam", NULL, -1, functions, NULL, NULL, NULL, NULL};

PyMODINIT_FUNC PyInit__beam(void)
{
    PyObject *module = PyModule_Create(&definition);
    if (module != NULL && PyModule_AddStringConstant(module, "SOURCE", SOURCE) < 0)
        Py_CLEAR(module);
    return module;
}
