# By which types `sittings.py` is compiled.
cimport cython

@cython.locals(row=Py_ssize_t, sitting=Py_ssize_t)
cpdef void follow_pressures(
    const long long[::1] sitting_of, const double[::1] systolic, const double[::1] diastolic, double[::1] count,
    double[:, ::1] first, double[:, ::1] second, double[:, ::1] last, unsigned char[::1] falls,
    unsigned char[::1] rises) except *

@cython.locals(row=Py_ssize_t, sitting=Py_ssize_t)
cpdef void find_pairs(const unsigned char[::1] chosen, const long long[::1] sitting_of, long long[:, ::1] pair) except *

@cython.locals(row=Py_ssize_t, sitting=Py_ssize_t, value=double)
cpdef void find_second_extremes(
    const unsigned char[::1] chosen, const long long[::1] sitting_of, const double[::1] values, double[::1] highest,
    double[::1] second_highest, double[::1] lowest, double[::1] second_lowest) except *

@cython.locals(row=Py_ssize_t, limb=Py_ssize_t)
cpdef void find_last_inflations(
    const long long[::1] subject_of, const long long[::1] limb_of, long long[::1] last, long long[::1] before) except *
