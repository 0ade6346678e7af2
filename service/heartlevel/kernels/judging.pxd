# By which types `judging.py` is compiled.
cimport cython

cdef signed char FALSE, TRUE, UNKNOWN, DIFFERENT

@cython.locals(
    fact=Py_ssize_t, term=Py_ssize_t, stretch=Py_ssize_t, start=Py_ssize_t, stop=Py_ssize_t, least=double,
    most=double, recorded=bint, values="const double[::1]")
cpdef void compare(
    list columns, const long long[::1] first_term, const double[:, ::1] low, const double[:, ::1] high,
    const signed char[::1] when_unknown, const long long[::1] starts, const long long[::1] profiles,
    signed char[:, ::1] outcomes, signed char[::1] same) except *

@cython.locals(row=Py_ssize_t)
cdef bint _any_known(const double[::1] values) noexcept nogil

@cython.locals(row=Py_ssize_t)
cdef void _fill(
    signed char[:, ::1] outcomes, Py_ssize_t leaf, Py_ssize_t start, Py_ssize_t stop, signed char outcome) noexcept nogil

@cython.locals(row=Py_ssize_t, outcome=cython.schar)
cdef void _compare(
    const double[::1] values, Py_ssize_t start, Py_ssize_t stop, double least, double most, signed char when_unknown,
    signed char[:, ::1] outcomes, Py_ssize_t term) noexcept nogil

@cython.locals(rule=Py_ssize_t, first=Py_ssize_t, last=Py_ssize_t, pattern=Py_ssize_t)
cpdef void decide(
    signed char[:, ::1] outcomes, Py_ssize_t terms, const long long[::1] leaves, const long long[::1] first_leaf,
    const signed char[::1] tables, const long long[::1] first_entry, signed char[::1] same,
    unsigned short[::1] patterns) except *

@cython.locals(digit=Py_ssize_t, pattern=Py_ssize_t)
cdef Py_ssize_t _same_pattern(
    const long long[::1] leaves, Py_ssize_t first, Py_ssize_t last, signed char[::1] same) noexcept nogil

@cython.locals(row=Py_ssize_t, digit=Py_ssize_t, leaf=Py_ssize_t)
cdef void _read_patterns(
    signed char[:, ::1] outcomes, const long long[::1] leaves, Py_ssize_t first, Py_ssize_t last,
    unsigned short[::1] patterns) noexcept nogil

@cython.locals(row=Py_ssize_t)
cdef void _look_up(
    unsigned short[::1] patterns, const signed char[::1] tables, Py_ssize_t entry, signed char[:, ::1] outcomes,
    Py_ssize_t leaf) noexcept nogil

@cython.locals(rule=Py_ssize_t, row=Py_ssize_t, digit=Py_ssize_t, leaf=Py_ssize_t)
cpdef void mark_wanting(
    const signed char[:, ::1] outcomes, Py_ssize_t terms, const long long[::1] leaves, const long long[::1] first_leaf,
    const long long[::1] fact_of, const unsigned char[:, ::1] unlimited, const long long[::1] profile,
    unsigned char[:, ::1] wanting) except *
