"""Reads `estate.yaml`: into an `Estate`, or into the list of all its mistakes.

    text -> tree with places -> shapes (one value at a time) and relations (across the file) -> frozen values

The shapes and the relations are checked independently of each other, so that one run names every mistake.
"""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from coverage_audit.estate.building import build_estate, build_limits
from coverage_audit.estate.document import read_text, read_tree
from coverage_audit.estate.limits import Limits
from coverage_audit.estate.lineage import check_lineage
from coverage_audit.estate.mistakes import Mistakes
from coverage_audit.estate.model import Estate
from coverage_audit.estate.nodes import Keys, plain
from coverage_audit.estate.places import check_places
from coverage_audit.estate.relations import check_relations
from coverage_audit.estate.shape import EstateShape, LimitsShape, LitterShape
from coverage_audit.estate.shipped import defaults_folder
from coverage_audit.estate.wording import note_refusals

_Shape = TypeVar("_Shape", bound=BaseModel)


def read_estate(file: Path) -> Estate:
    """Read and check an estate file.

    Raises EstateError (exit status 78) with one line "FILE:LINE:COLUMN: message (mend)" for every mistake, in the
    order of the file; without a place where the file itself cannot be read.
    """
    return estate_of(read_text(file), file)


def estate_of(text: str, file: Path) -> Estate:
    """Read and check an estate's text; `file` is what mistakes name. Raises EstateError as `read_estate` does."""
    mistakes = Mistakes()
    tree = read_tree(text, mistakes)
    shape = _shaped(EstateShape, tree, mistakes)
    if tree is not None:
        for check in (check_relations, check_places, check_lineage):
            check(tree, mistakes)
    if mistakes or shape is None:
        mistakes.raise_for(file)
    return build_estate(
        shape,
        shipped=read_limits(defaults_folder() / "limits.yaml"),
        litter=read_litter(defaults_folder() / "litter.yaml"),
        text=text,
        file=str(file),
    )


def read_limits(file: Path) -> Limits:
    """Read a file of limits; every one must be there. Raises EstateError as `read_estate` does."""
    mistakes = Mistakes()
    shape = _shaped(LimitsShape, read_tree(read_text(file), mistakes), mistakes)
    if mistakes or shape is None:
        mistakes.raise_for(file)
    return build_limits(shape)


def read_litter(file: Path) -> tuple[str, ...]:
    """Read a file of names that every dataset leaves out. Raises EstateError as `read_estate` does."""
    mistakes = Mistakes()
    shape = _shaped(LitterShape, read_tree(read_text(file), mistakes), mistakes)
    if mistakes or shape is None:
        mistakes.raise_for(file)
    return tuple(shape.litter)


def _shaped(shape: type[_Shape], tree: Keys | None, mistakes: Mistakes) -> _Shape | None:
    if tree is None:
        return None
    try:
        return shape.model_validate(plain(tree))
    except ValidationError as error:
        note_refusals(error, tree, mistakes)
        return None
