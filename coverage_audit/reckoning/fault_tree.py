"""A coherent structure as a tree: what must fail together so that something is lost.

Only gates that never get better by a further failure: "any of", "all of", "at least k of". One object may stand under
several gates. A gate without inputs is a constant: all of nothing always holds, any of nothing never does.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Event:
    """One failure, known by its name. Events of one name are the same failure."""

    name: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Gate:
    """Holds when at least so many of its inputs do."""

    at_least: int
    inputs: tuple[Tree, ...]


Tree = Event | Gate


def any_of(*inputs: Tree) -> Gate:
    """Return the gate that one of its inputs is enough for."""
    return Gate(at_least=1, inputs=inputs)


def all_of(*inputs: Tree) -> Gate:
    """Return the gate that needs each of its inputs."""
    return Gate(at_least=len(inputs), inputs=inputs)


def holds(tree: Tree, failed: frozenset[str]) -> bool:
    """Return whether the tree's top holds when just these events have happened."""
    if isinstance(tree, Event):
        return tree.name in failed
    return sum(holds(part, failed) for part in tree.inputs) >= tree.at_least
