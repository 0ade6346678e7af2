"""The table of limits as a person reads it: pressures as pairs, a category with where it begins."""

from collections.abc import Iterator, Sequence

from heartlevel.ruling.tools.limits.table import UNPUBLISHED, Cells, category_row, rows_in

SYSTOLIC, DIASTOLIC = ".systolic", ".diastolic"
GAP = "  "


def side_by_side(cells: Cells, guidelines: Sequence[str], width: int) -> Iterator[str]:
    """Yield the lines of a table, as many guidelines beside each other as fit."""
    rows = [("", list(guidelines)), *_limits(cells, guidelines), *_categories(cells, guidelines)]
    heads = [head for head, _ in rows]
    widths = [max(len(texts[column]) for _, texts in rows) for column in range(len(guidelines))]
    for number, block in enumerate(_blocks(widths, max(map(len, heads)), width)):
        yield from [""] if number else []
        for head, texts in rows:
            line = [head.ljust(max(map(len, heads))), *(texts[column].ljust(widths[column]) for column in block)]
            yield GAP.join(line).rstrip()


def _blocks(widths: Sequence[int], head: int, width: int) -> Iterator[list[int]]:
    """Yield the columns that fit beside each other; one at least, however narrow the screen is."""
    block, used = list[int](), head
    for column, wide in enumerate(widths):
        if block and used + len(GAP) + wide > width:
            yield block
            block, used = [], head
        block.append(column)
        used += len(GAP) + wide
    yield block


def _limits(cells: Cells, guidelines: Sequence[str]) -> Iterator[tuple[str, list[str]]]:
    for row in rows_in(cells):
        if row.startswith("categories.") or row.endswith(DIASTOLIC):
            continue
        name = row.removesuffix(SYSTOLIC).removeprefix("limits.")
        if row.endswith(SYSTOLIC):
            stem = row.removesuffix(SYSTOLIC)
            yield name, [_pair(cells, stem, guideline) for guideline in guidelines]
        else:
            yield name, [cells[row, guideline] for guideline in guidelines]


def _categories(cells: Cells, guidelines: Sequence[str]) -> Iterator[tuple[str, list[str]]]:
    for row in rows_in(cells):
        if row.endswith(".id"):
            _, setting, number, _ = row.split(".")
            titles = [_category(cells, setting, int(number), guideline) for guideline in guidelines]
            yield f"{setting} category {number}", titles


def _category(cells: Cells, setting: str, number: int, guideline: str) -> str:
    title = cells.get((category_row(setting, number, "title"), guideline), "")
    begins = _pair(cells, category_row(setting, number, "from"), guideline)
    return f"{title} {begins}" if begins else title


def _pair(cells: Cells, stem: str, guideline: str) -> str:
    pressures = [cells.get((stem + pressure, guideline), "") for pressure in (SYSTOLIC, DIASTOLIC)]
    if not any(pressures) or set(pressures) == {UNPUBLISHED}:
        return UNPUBLISHED if any(pressures) else ""
    return "/".join(pressure if pressure not in ("", UNPUBLISHED) else "-" for pressure in pressures)
