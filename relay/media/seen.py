"""What was seen of one frame. Values only."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Seen:
    """What one frame is."""

    fault: str = ""
    """Why its pixels cannot be had; empty where they can."""
    is_short: bool = False
    """It ends before its pixels do."""
    width: int = 0
    height: int = 0
    bits: int = 0
    channels: int = 0
    packing: str = ""
    transfer: str = ""
    orientation: str = ""
    position: int | None = None
    length: int | None = None
    rate: float | None = None
    edge_roll: str = ""
    edge_count: int | None = None
    edge_offset: int | None = None
    dark: float = 0.0
    """The level, of full scale, that 2 of 100 pixels lie below."""
    light: float = 0.0
    """The level that 2 of 100 pixels lie above."""
    mark: str = ""
    """Equal for equal pixels; unequal pixels that look alike differ in it, too."""
    thumb: tuple[int, int] = (0, 0)
    """Columns and rows of the thumbnail."""
