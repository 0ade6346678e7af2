# By which types `cells.py` is compiled.
cimport cython

cdef double NAN

@cython.locals(row=Py_ssize_t, cell=Py_ssize_t)
cpdef void fill_means(const long long[:] cell_of, const double[:] values, double[::1] count, double[::1] mean) except *

@cython.locals(row=Py_ssize_t, away=double)
cpdef void fill_squares(
    const long long[:] cell_of, const double[:] values, const double[::1] mean, double[::1] squares) except *
