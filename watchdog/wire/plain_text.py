"""Foreign text made safe to show: one line, short, nothing a terminal or a log reader would obey."""


def printable(text: str | bytes, limit: int = 60) -> str:
    """`text` in at most `limit` characters, with control, escape, bidi, invisible and undecodable characters escaped.

    Bytes are taken as UTF-8. What does not fit is cut, never in the middle of an escape, and ends in an ellipsis.
    """
    if isinstance(text, bytes):
        text = text[: 4 * limit + 4].decode("utf-8", "backslashreplace")
    if len(text) <= limit and text.isprintable():
        return text
    pieces: list[str] = []
    room = limit
    for character in text[: limit + 1]:
        piece = character if character.isprintable() else _escaped(character)
        pieces.append(piece)
        room -= len(piece)
        if room < 0:
            return _cut(pieces, limit)
    return "".join(pieces)


def _escaped(character: str) -> str:
    return character.encode("unicode_escape").decode("ascii")


def _cut(pieces: list[str], limit: int) -> str:
    """As many whole `pieces` as leave room for the ellipsis."""
    if limit < 1:
        return ""
    length = sum(map(len, pieces))
    while pieces and length > limit - 1:
        length -= len(pieces.pop())
    return "".join(pieces) + "…"
