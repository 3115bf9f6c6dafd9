from collections.abc import Callable, Sequence

SOURCE: str

class Law:
    lower: float
    upper: float
    kind: str
    terms: int
    def __init__(
        self,
        rings: Sequence[float],
        sigma: float,
        discs: Sequence[float],
        lows: Sequence[float],
        highs: Sequence[float],
        charge: Callable[[int], None],
    ) -> None: ...
    def cdf(self, radii: Sequence[float], /) -> list[float]: ...
    def quantiles(self, probabilities: Sequence[float], /) -> list[float]: ...
    def less(self, other: Law, /) -> float: ...

def bessel_nodes(terms: int, /) -> tuple[list[float], list[float]]: ...
