"""On which line a key of a TOML file stands. Imported only when something is wrong."""

import tomllib
from collections.abc import Iterator

import tree_sitter_toml
from tree_sitter import Language, Node, Parser

from watchdog.settings.draft import KeyPath

_KEYS = {"bare_key", "quoted_key", "dotted_key"}


class Lines:
    """The lines of all keys of one file."""

    def __init__(self, text: bytes) -> None:
        tree = Parser(Language(tree_sitter_toml.language())).parse(text)
        self._lines: dict[KeyPath, int] = {}
        counts: dict[KeyPath, int] = {}
        for node in tree.root_node.named_children:
            if node.type == "pair":
                self._pair(node, ())
            elif node.type in {"table", "table_array_element"}:
                self._table(node, counts)

    def of(self, path: KeyPath) -> int:
        """The line of this key, or of the nearest table around it that stands in the file; 1 when there is none."""
        while path and path not in self._lines:
            path = path[:-1]
        return self._lines.get(path, 1)

    def _table(self, node: Node, counts: dict[KeyPath, int]) -> None:
        children = node.named_children
        path: KeyPath = _parts(children[0])
        if node.type == "table_array_element":
            number = counts.get(path, 0)
            counts[path] = number + 1
            path = (*path, number)
        line = _line(node)
        self._lines[path] = line
        for depth in range(1, len(path)):
            self._lines.setdefault(path[:depth], line)
        for child in children[1:]:
            if child.type == "pair":
                self._pair(child, path)

    def _pair(self, node: Node, around: KeyPath) -> None:
        key, value = node.named_children[:2]
        parts = _parts(key)
        for depth in range(1, len(parts) + 1):
            self._lines.setdefault((*around, *parts[:depth]), _line(node))
        self._value(value, (*around, *parts))

    def _value(self, node: Node, path: KeyPath) -> None:
        if node.type == "inline_table":
            for pair in _named(node, "pair"):
                self._pair(pair, path)
        elif node.type == "array":
            items = (child for child in node.named_children if child.type != "comment")
            for number, item in enumerate(items):
                self._lines[*path, number] = _line(item)
                self._value(item, (*path, number))


def _named(node: Node, kind: str) -> Iterator[Node]:
    return (child for child in node.named_children if child.type == kind)


def _line(node: Node) -> int:
    return node.start_point.row + 1


def _parts(key: Node) -> tuple[str, ...]:
    """The parts of a key, unquoted by the TOML reader itself."""
    if key.type == "dotted_key":
        return tuple(part for child in key.named_children if child.type in _KEYS for part in _parts(child))
    text = (key.text or b"").decode()
    return (text,) if key.type == "bare_key" else tuple(tomllib.loads(f"{text}=0"))
