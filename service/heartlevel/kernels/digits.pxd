# By which types `digits.py` is compiled.
cimport cython

@cython.locals(
    row=Py_ssize_t, subject=Py_ssize_t, step=Py_ssize_t, upper=cython.longlong, lower=cython.longlong, of_upper=bint,
    of_lower=bint)
cpdef void count_multiples(
    const unsigned char[::1] chosen, const long long[::1] subject_of, const double[::1] systolic,
    const double[::1] diastolic, const long long[::1] steps, unsigned char[::1] whole, double[::1] count,
    double[:, :, ::1] multiples, double[:, ::1] both) except *
