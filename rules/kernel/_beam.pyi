from collections.abc import Callable, Sequence

SOURCE: str

def frequencies(
    segments: Sequence[Sequence[float]],
    joints: Sequence[int],
    sets: Sequence[Sequence[float]],
    tip_mass: float,
    count: int,
    elements: float,
    charge: Callable[[int], None],
    /,
) -> tuple[tuple[float, ...], ...]: ...
