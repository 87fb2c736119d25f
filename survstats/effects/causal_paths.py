"""Which ways lead from one cause to another in a graph of causes, and which of them are open?"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

#: Children of each node, in a fixed order.
Arrows = Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class Path:
    """A way through a graph of causes, along its arrows or against them.

    Attributes
    ----------
    nodes : tuple of str
        From one end to the other, k nodes.
    along : tuple of bool
        k - 1 entries: True where the arrow points onward, False where it points back.
    """

    nodes: tuple[str, ...]
    along: tuple[bool, ...]

    @property
    def causal(self) -> bool:
        """Whether every arrow points onward: then the first node acts on the last this way."""
        return all(self.along)

    @property
    def inner(self) -> frozenset[str]:
        """The nodes between both ends."""
        return frozenset(self.nodes[1:-1])

    def __str__(self) -> str:
        """The nodes in order, with the arrows between them as ``>`` and ``<``."""
        told = self.nodes[0]
        for node, along in zip(self.nodes[1:], self.along, strict=True):
            told += f" {'>' if along else '<'} {node}"
        return told


def descendants(arrows: Arrows, node: str) -> frozenset[str]:
    """Everything that a node acts on, directly or through others; without itself."""
    found: set[str] = set()
    waiting = [node]
    while waiting:
        new = set(arrows.get(waiting.pop(), ())) - found
        found |= new
        waiting += sorted(new)
    return frozenset(found)


def ancestors(arrows: Arrows, nodes: Collection[str]) -> frozenset[str]:
    """Everything that acts on any of the nodes; a node itself only where it acts on another of them."""
    backwards = _reversed(arrows)
    found: frozenset[str] = frozenset()
    return found.union(*(descendants(backwards, node) for node in nodes))


def _reversed(arrows: Arrows) -> dict[str, tuple[str, ...]]:
    parents: dict[str, list[str]] = {}
    for start, ends in arrows.items():
        for end in ends:
            parents.setdefault(end, []).append(start)
    return {node: tuple(above) for node, above in parents.items()}


def shortest_way(arrows: Arrows, start: str, end: str) -> Path | None:
    """The shortest way along the arrows; the first in the order of the arrows where several are as short."""
    rows: list[tuple[str, ...]] = [(start,)]
    seen = {start}
    while rows:
        longer = []
        for row in rows:
            if row[-1] == end:
                return Path(row, (True,) * (len(row) - 1))
            for child in arrows.get(row[-1], ()):
                if child not in seen:
                    seen.add(child)
                    longer.append((*row, child))
        rows = longer
    return None


def open_paths(
    arrows: Arrows,
    start: str,
    end: str,
    *,
    given: Collection[str] = (),
    causal: bool = False,
    longest: int = 9,
) -> tuple[Path, ...]:
    """Which ways from start to end that are not causal stay open, given what is held equal.

    Parameters
    ----------
    arrows : mapping of str to tuple of str
        A graph without circles.
    start, end : str
        Neither may be given.
    given : collection of str
        Nodes held equal: adjusted for, or fixed by whom one looks at.
    causal : bool
        List causal ways too.
    longest : int
        Ways of more arrows than this are not followed.

    Returns
    -------
    tuple of Path
        Shortest first. A way is left out where a shorter listed one runs over some of its nodes alone, so that the
        list is short, and empty exactly where nothing of up to ``longest`` arrows is open.

    Notes
    -----
    A way is open if each node at which two arrows meet is given or acts on a given one, and no other node on it is
    given (d-separation: Pearl 1988, Probabilistic Reasoning in Intelligent Systems, section 3.3; from memory).
    """
    held = frozenset(given)
    meeting = held | ancestors(arrows, held)
    parents = _reversed(arrows)
    found: list[Path] = []
    begun: dict[tuple[str, bool, bool], list[frozenset[str]]] = {}
    rows = [Path((start,), ())]
    for _ in range(longest):
        longer: list[Path] = []
        for row in rows:
            for path in _extended(row, arrows, parents, held, meeting):
                nodes = frozenset(path.nodes)
                if any(known.inner <= nodes for known in found):
                    continue
                alike = begun.setdefault((path.nodes[-1], path.along[-1], path.causal), [])
                if any(other <= nodes for other in alike):
                    continue  # whatever this one may become, the other becomes with fewer nodes
                alike.append(nodes)
                if path.nodes[-1] != end:
                    longer.append(path)
                elif causal or not path.causal:
                    found.append(path)
        rows = longer
    return tuple(found)


def _extended(
    path: Path, arrows: Arrows, parents: Arrows, held: frozenset[str], meeting: frozenset[str]
) -> Iterator[Path]:
    """The path one arrow further, where its last node lets it through."""
    node = path.nodes[-1]
    into = bool(path.along) and path.along[-1]
    first = len(path.nodes) == 1
    if first or node not in held:
        for child in arrows.get(node, ()):
            if child not in path.nodes:
                yield Path((*path.nodes, child), (*path.along, True))
    if first or (node in meeting if into else node not in held):
        for parent in parents.get(node, ()):
            if parent not in path.nodes:
                yield Path((*path.nodes, parent), (*path.along, False))


def blocked_ways(arrows: Arrows, start: str, end: str, *, given: Collection[str]) -> tuple[Path, ...]:
    """Which causal ways are cut by what is held equal: the shortest through each given node on such a way."""
    found = []
    for node in given:
        onto, onward = shortest_way(arrows, start, node), shortest_way(arrows, node, end)
        if onto and onward and node not in (start, end):
            found.append(Path(onto.nodes + onward.nodes[1:], onto.along + onward.along))
    return tuple(found)
