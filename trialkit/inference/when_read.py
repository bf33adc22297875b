"""Named values of a fit that take long to work out and that few readers ask for."""

from collections.abc import Callable, Iterator, Mapping


class WhenRead(Mapping[str, object]):
    """A mapping whose values are each worked out when first read, and kept.

    >>> record = WhenRead({"ratios": lambda: [0.5, 0.7]})
    >>> "ratios" in record, record["ratios"], record.get("other")
    (True, [0.5, 0.7], None)
    """

    def __init__(self, makers: Mapping[str, Callable[[], object]]) -> None:
        self._makers = dict(makers)
        self._known: dict[str, object] = {}

    def __getitem__(self, name: str) -> object:
        if name not in self._known:
            self._known[name] = self._makers[name]()
        return self._known[name]

    def __contains__(self, name: object) -> bool:
        return name in self._makers

    def __iter__(self) -> Iterator[str]:
        return iter(self._makers)

    def __len__(self) -> int:
        return len(self._makers)
