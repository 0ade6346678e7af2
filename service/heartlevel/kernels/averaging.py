"""Chosen rows (readings, days) averaged by the cell they belong to (a group, a day), for several selections at once.

`chosen` has a row a selection, `values` a row a quantity, NaN for unknown; both have a column a row of the batch, and
`cell_of` has its cell. Results have, of these, the axes quantity, selection and cell; they are 0 when handed over. Values
are added up in the order of their rows, so that a sum never depends on what else is in the batch.
"""

from heartlevel.kernels.arrays import Floats, Ints, Marks


def add_means(chosen: Marks, values: Floats, cell_of: Ints, number: Floats, known: Floats, mean: Floats) -> None:
    """Fill the number of rows (axes: selection, cell), that of known values, and the mean of these."""
    for selection in range(chosen.shape[0]):
        _add_up(chosen, values, cell_of, selection, number, known, mean)
        _divide(selection, known, mean)


def _add_up(
    chosen: Marks, values: Floats, cell_of: Ints, selection: int, number: Floats, known: Floats, total: Floats
) -> None:
    for row in range(chosen.shape[1]):
        if chosen[selection, row]:
            cell = cell_of[row]
            number[selection, cell] += 1
            for quantity in range(values.shape[0]):
                if values[quantity, row] == values[quantity, row]:
                    known[quantity, selection, cell] += 1
                    total[quantity, selection, cell] += values[quantity, row]


def _divide(selection: int, known: Floats, mean: Floats) -> None:
    for quantity in range(mean.shape[0]):
        for cell in range(mean.shape[2]):
            mean[quantity, selection, cell] /= known[quantity, selection, cell]


def add_squares(chosen: Marks, values: Floats, cell_of: Ints, mean: Floats, squares: Floats) -> None:
    """Fill the sums of the squared deviations of known values from their cell's mean."""
    for selection in range(chosen.shape[0]):
        _add_squares(chosen, values, cell_of, selection, mean, squares)


def _add_squares(chosen: Marks, values: Floats, cell_of: Ints, selection: int, mean: Floats, squares: Floats) -> None:
    for row in range(chosen.shape[1]):
        if chosen[selection, row]:
            cell = cell_of[row]
            for quantity in range(values.shape[0]):
                if values[quantity, row] == values[quantity, row]:
                    away = values[quantity, row] - mean[quantity, selection, cell]
                    squares[quantity, selection, cell] += away * away


def add_products(chosen: Marks, values: Floats, cell_of: Ints, mean: Floats, products: Floats) -> None:
    """Fill the sums of the products of two quantities' deviations from their cell's means (axes: selection, cell).

    Both are known wherever a row is chosen.
    """
    for selection in range(chosen.shape[0]):
        for row in range(chosen.shape[1]):
            if chosen[selection, row]:
                cell = cell_of[row]
                first = values[0, row] - mean[0, selection, cell]
                second = values[1, row] - mean[1, selection, cell]
                products[selection, cell] += first * second
