"""The ground at many places as a table."""

from __future__ import annotations

from typing import Final

from steybrae.bands import bands_text
from steybrae.cautions import Caution
from steybrae.document import NONE, Block, Cautions, Cell, Column, Document, Paragraph, Table
from steybrae.route.overhead.result import PathAnswer, SightAnswer
from steybrae.screening.ground.result import GroundAt, GroundPlaces
from steybrae.value import UNKNOWN, Value, height, lower, overhead, slope, steep_length


def _leading(ground: GroundAt) -> tuple[str, SightAnswer | PathAnswer | None, float | None]:
    """Larger of sight and path, and which it is."""
    looks = ground.overhead
    if looks is None:
        return "", None, None
    sight, path = looks.sight, looks.path
    sight_deg = None if sight is None else sight.unfiltered_deg if sight.deg is None else sight.deg
    if path is not None and path.deg > (sight_deg or 0.0):
        return "path", path, path.deg
    return ("", None, None) if sight is None else ("sight", sight, sight_deg)


def _overhead(ground: GroundAt) -> Cell:
    _, one, deg = _leading(ground)
    if one is None or deg is None:
        return UNKNOWN if ground.overhead is None or ground.unknown_above else NONE
    return overhead(deg, at_least=ground.unknown_above)


def _quantity(ground: GroundAt) -> Cell:
    quantity, one, _ = _leading(ground)
    hidden = isinstance(one, SightAnswer) and one.hidden
    return f"{quantity}, hidden" if hidden else quantity


def _zone(ground: GroundAt) -> Cell:
    looks = ground.overhead
    if looks is None:
        return UNKNOWN
    return "yes" if looks.in_start_zone else "possible" if looks.in_possible_zone else "no"


def _slope(ground: GroundAt) -> Value:
    interval = (ground.slope_low_deg, ground.slope_high_deg)
    return slope(ground.slope_deg, at_least=ground.open_above, interval=interval)


_PLACE: Final = (
    Column("name", "Place", lambda at: at.place.name or at.place.written, align="left", width=26),
    Column("lat_deg", "Latitude", lambda at: Value(at.place.lat_deg, "", 1e-7)),
    Column("lon_deg", "Longitude", lambda at: Value(at.place.lon_deg, "", 1e-7)),
)

_GROUND: Final = (
    Column("elevation_m", "Height\nm", lambda at: height(at.elevation_m), "m"),
    Column("slope_deg", "Slope", _slope),
    Column("slope_low_deg", "from", lambda at: lower(at.slope_low_deg)),
    Column("slope_high_deg", "to", lambda at: slope(at.slope_high_deg)),
    Column("within_slope_max_deg", "Steepest\nnear", lambda at: slope(at.within.slope_max_deg)),
    Column("within_slope_high_max_deg", "to", lambda at: slope(at.within.slope_high_max_deg)),
    Column("overhead_deg", "Overhead", _overhead),
    Column("overhead_quantity", "by", _quantity, align="left"),
    Column("in_start_zone", "In a start\nzone", _zone, align="left"),
)

_MORE: Final = (
    Column("aspect_sector", "Faces", lambda at: at.aspect_sector or "", align="left"),
    Column("band", "Band", lambda at: UNKNOWN if at.band is None else at.band.label, align="left"),
    Column(
        "bands_possible", "Possible bands", lambda at: bands_text(at.bands_possible, open_above=at.open_above)
    ),
    Column("open_above", "At least", lambda at: "yes" if at.open_above else "no"),
    Column("overhead_at_least", "", lambda at: "yes" if at.unknown_above else "no"),
    Column("baseline_m", "Over\nm", lambda at: steep_length(at.baseline_m), "m"),
    Column("within_radius_m", "Within\nm", lambda at: steep_length(at.within.radius_m), "m"),
    Column("cautions", "", lambda at: " ".join(caution.key for caution in at.cautions), align="left"),
)


def places_csv_table(found: GroundPlaces) -> Table:
    """Every place with every figure, for a file."""
    return Table((*_PLACE, *_GROUND, *_MORE), found.places)


def places_cautions(found: GroundPlaces) -> tuple[Caution, ...]:
    """Cautions of all places, each once."""
    return tuple({caution.key: caution for at in found.places for caution in at.cautions}.values())


def places_document(found: GroundPlaces) -> Document:
    """Tell what the ground is like at places, one a row."""
    basis = dict.fromkeys(at.basis for at in found.places)
    blocks: tuple[Block, ...] = (
        Table((_PLACE[0], *_GROUND), found.places),
        *map(Paragraph, basis),
        Cautions(places_cautions(found)),
    )
    return Document("Places", blocks)
