"""Values averaged by the cell they belong to (a group, a day, a sitting), in the order of their rows.

Results have a value a cell and are 0 when handed over. A value that is not known makes its cell's results unknown.
"""

from math import nan

from heartlevel.kernels.arrays import Floats, Ints

NAN = nan


def fill_means(cell_of: Ints, values: Floats, count: Floats, mean: Floats) -> None:
    """Fill the number of each cell's values, and their mean; NaN where there are none."""
    for row in range(cell_of.shape[0]):
        count[cell_of[row]] += 1
        mean[cell_of[row]] += values[row]
    for cell in range(count.shape[0]):
        mean[cell] = mean[cell] / count[cell] if count[cell] else NAN


def fill_squares(cell_of: Ints, values: Floats, mean: Floats, squares: Floats) -> None:
    """Fill the sum of the squared deviations of each cell's values from their mean."""
    for row in range(cell_of.shape[0]):
        away = values[row] - mean[cell_of[row]]
        squares[cell_of[row]] += away * away
