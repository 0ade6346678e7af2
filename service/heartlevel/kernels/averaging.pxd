# By which types `averaging.py` is compiled.
cimport cython

@cython.locals(selection=Py_ssize_t)
cpdef void add_means(
    const unsigned char[:, ::1] chosen, const double[:, ::1] values, const long long[::1] cell_of, double[:, ::1] number,
    double[:, :, ::1] known, double[:, :, ::1] mean) except *

@cython.locals(row=Py_ssize_t, cell=Py_ssize_t, quantity=Py_ssize_t)
cdef void _add_up(
    const unsigned char[:, ::1] chosen, const double[:, ::1] values, const long long[::1] cell_of, Py_ssize_t selection,
    double[:, ::1] number, double[:, :, ::1] known, double[:, :, ::1] total) noexcept nogil

@cython.locals(quantity=Py_ssize_t, cell=Py_ssize_t)
cdef void _divide(Py_ssize_t selection, double[:, :, ::1] known, double[:, :, ::1] mean) noexcept nogil

@cython.locals(selection=Py_ssize_t)
cpdef void add_squares(
    const unsigned char[:, ::1] chosen, const double[:, ::1] values, const long long[::1] cell_of,
    const double[:, :, ::1] mean, double[:, :, ::1] squares) except *

@cython.locals(row=Py_ssize_t, cell=Py_ssize_t, quantity=Py_ssize_t, away=double)
cdef void _add_squares(
    const unsigned char[:, ::1] chosen, const double[:, ::1] values, const long long[::1] cell_of, Py_ssize_t selection,
    const double[:, :, ::1] mean, double[:, :, ::1] squares) noexcept nogil

@cython.locals(selection=Py_ssize_t, row=Py_ssize_t, cell=Py_ssize_t, first=double, second=double)
cpdef void add_products(
    const unsigned char[:, ::1] chosen, const double[:, ::1] values, const long long[::1] cell_of,
    const double[:, :, ::1] mean, double[:, ::1] products) except *
