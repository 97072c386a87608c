"""Holding figures of the program against our own."""
import math
import sys

# How often what was compared.
COMPARED = {}


def near(what, said, own, relative=1e-9, absolute=1e-9):
    """Holds a figure against ours."""
    COMPARED[what] = COMPARED.get(what, 0) + 1
    if said is None or own is None or not math.isclose(said, own, rel_tol=relative, abs_tol=absolute):
        sys.exit(f"{what}: the report says {said}, and it is {own}")


def same(what, said, own):
    """Holds what is no figure, or a count, against ours."""
    COMPARED[what] = COMPARED.get(what, 0) + 1
    if said != own:
        sys.exit(f"{what}: the report says {said!r}, and it is {own!r}")


def number(cell):
    """A cell's number; nothing of an empty one."""
    return float(cell) if cell != "" else None
