"""Every caution: its text, and when it applies.

A result describes itself as a `Situation`; `cautions_for` returns the cautions that
apply, in the order in which they stand here. No option of any command turns them off.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Annotated, Final

from steybrae.errors import PlanError
from steybrae.frozen import dataclass
from steybrae.names import clean
from steybrae.quantities import LAND_HEIGHTS_M
from steybrae.ranges import Range
from steybrae.value import AT_LEAST, percent

COARSE_CELL_M: Final = 20.0
"""Cells above this size, metres, are coarser than the ground over which slopes are judged, about
20 m x 20 m (Swiss leaflet "Achtung Lawinen!")."""

VERY_COARSE_CELL_M: Final = 50.0
"""Cells above this size, metres, hide whole slopes (our choice)."""

WIDE_START_DEG: Final = 25.0
"""Possible start zones that begin below this, degrees, hold ground gentler than dry slabs need (from
memory)."""

BLIND_START_DEG: Final = 20.0
"""Possible start zones that begin below this, degrees, tell little on mountain ground (our choice)."""

SAME_CELLS: Final = 8
"""Side of a square of cells that hold one identical number, from which on it is told (our choice): rough
ground measured to centimetres never has one."""

BALLPARK_M: Final = 30.0
"""Datum shift worse than this, metres, gets a caution: the corridor's least half-width."""


@dataclass(frozen=True)
class HeightsRead:
    """What was met while heights of a model were read.

    Attributes
    ----------
    absurd_share
        Share of them that no land has, and that count as unknown.
    same_share
        Share of them in squares of `SAME_CELLS` cells a side that hold one identical number.
    scaling
        A sentence on how the file's numbers became heights, or an empty string.
    tiles_differ
        Whether files that overlap have other heights there.
    """

    absurd_share: float = 0.0
    same_share: float = 0.0
    scaling: str = ""
    tiles_differ: bool = False


@dataclass(frozen=True, eq=False)
class Situation:
    """What a result says about itself, for choosing its cautions.

    Attributes
    ----------
    from_paper, from_model, from_reading, lesson
        What the figures rest on.
    cell_size_m
        Larger side of a model's cell on the ground, metres; None without a model.
    drawn_cell_m
        Distance of the heights that a picture is drawn from, metres; None where it has all of the model's.
    slope_high_deg
        Highest slope that the result allows, degrees; None where not known.
    unknown_m
        Length of unknown ground on the line, metres.
    unknown_near
        Whether ground beside the line or in the circle is unknown.
    area_unknown
        Whether ground of a whole raster is unknown.
    area_unreadable
        Whether part of a raster could not be read and was made unknown on request.
    open_above
        Whether the true slope may be steeper by an amount not known.
    interval_m
        Contour interval, metres; None without a map.
    gap_unreadable
        Whether the ruler error is as large as the gap.
    thinned_lines, single_gap
        Traps of reading a printed map.
    ruler_only
        Whether the contours' own height error was left out of the interval.
    unit_assumed
        Whether the model's vertical unit was assumed to be metres.
    unit_doubtful
        A sentence why the heights look like another unit, or an empty string.
    heights
        What the model's heights are like, as far as they were read.
    model_found
        Kinds of what was found in how they were made (`steybrae.terrain.examine.found`).
    place_coarse
        Whether the place as written names more ground than was looked at.
    places_swapped
        Whether a point off the model would lie on it with latitude and longitude exchanged.
    datum_accuracy_m
        Accuracy of the shift between WGS 84 and the model's datum, metres; None if not known.
    overhead
        Whether overhead angles are shown.
    overhead_short
        Whether the model knows ground overhead less far than start zones are looked for.
    start_lowered_to_deg
        Least slope of possible start zones where the model's uncertainty puts it much lower than
        that of start zones, degrees; None elsewhere.
    overhead_left_out
        A sentence on what was left out overhead on request, or an empty string.
    magnetic
        Whether magnetic bearings are shown.
    grid_zones
        Whether grid bearings or references of one line are of several UTM zones.
    runout
        Whether published run-out angles are shown.
    bulletin
        Whether a forecast bulletin is shown beside the ground.
    treeline_unknown
        Whether it names the treeline and its height was not stated.
    sample
        Whether the ground is the invented sample massif.
    """

    from_paper: bool = False
    from_model: bool = False
    from_reading: bool = False
    lesson: bool = False
    cell_size_m: float | None = None
    drawn_cell_m: float | None = None
    slope_high_deg: float | None = None
    unknown_m: float = 0.0
    unknown_near: bool = False
    area_unknown: bool = False
    area_unreadable: bool = False
    open_above: bool = False
    interval_m: float | None = None
    gap_unreadable: bool = False
    thinned_lines: bool = False
    single_gap: bool = False
    ruler_only: bool = False
    unit_assumed: bool = False
    unit_doubtful: str = ""
    heights: HeightsRead = HeightsRead()
    model_found: tuple[str, ...] = ()
    place_coarse: bool = False
    places_swapped: bool = False
    datum_accuracy_m: float | None = 0.0
    overhead: bool = False
    overhead_short: bool = False
    start_lowered_to_deg: float | None = None
    overhead_left_out: str = ""
    magnetic: bool = False
    grid_zones: bool = False
    runout: bool = False
    bulletin: bool = False
    treeline_unknown: bool = False
    sample: bool = False


@dataclass(frozen=True)
class Caution:
    """One caution.

    Attributes
    ----------
    key
        Short fixed name, for JSON and tests.
    text
        One or two whole sentences.
    """

    key: str
    text: str

    @property
    def line(self) -> str:
        """`text` in one short line, for a card and a small screen; itself where it is told once only."""
        return _LINES.get(self.key, self.text)


Cautions = Annotated[tuple[Caution, ...], Range(entries=1)]
"""Those of a result: the general ones apply to all, so there is always one."""


def _wide_start(at: Situation) -> bool:
    low_deg = at.start_lowered_to_deg
    return low_deg is not None and BLIND_START_DEG <= low_deg < WIDE_START_DEG


def _blind_start(at: Situation) -> bool:
    return at.start_lowered_to_deg is not None and at.start_lowered_to_deg < BLIND_START_DEG


def _always(at: Situation) -> bool:
    return True


_RULES: Final[tuple[tuple[str, str, Callable[[Situation], bool], str], ...]] = (
    (
        "forecast",
        "Angles, not a judgement: local avalanche forecast, local rules, qualified guidance come first.",
        _always,
        "These are angles of ground, not a judgement of it. Read the local avalanche forecast for "
        "the day, follow local rules and qualified guidance, and decide on the hill.",
    ),
    (
        "angle_alone",
        "Angle alone decides nothing: hit from above, set off from afar; wet snow slides gentler.",
        _always,
        "Slope angle alone decides nothing: gentle ground can be hit from above, a slide can be set "
        "off from a distance, and wet snow and slush slide on gentler slopes than dry slabs do.",
    ),
    (
        "sample",
        "Invented sample massif: no such ground, never for a real day.",
        lambda at: at.sample,
        "This is the invented sample massif: there is no such ground, and nothing here may be used "
        "for a real day.",
    ),
    (
        "unknown_on_line",
        "Part of the line is unknown ground; unknown is not gentle.",
        lambda at: at.unknown_m > 0.0,
        "Part of the line runs over ground the model does not know. Unknown is not gentle: every "
        f'steepness and ascent that includes it is "{AT_LEAST}".',
    ),
    (
        "unknown_near",
        "Ground within the distance looked at is unknown and may be steeper.",
        lambda at: at.unknown_near,
        "Some ground within the distance looked at is unknown; it may be steeper than anything shown.",
    ),
    (
        "unknown_area",
        "Part of this area is unknown; unknown is not gentle.",
        lambda at: at.area_unknown,
        "Part of this area is unknown: the model has no height there, or ends beside it. Unknown is not "
        "gentle; it has a class and a mark of its own.",
    ),
    (
        "unreadable",
        "Part of the input could not be read; what is there was not looked at.",
        lambda at: at.area_unreadable,
        "Part of the input could not be read and was made unknown on request: what is there was not looked "
        "at.",
    ),
    (
        "open_above",
        "How much steeper than shown the ground may be is not known.",
        lambda at: at.open_above,
        "How far the true slope may lie above the figure is not known here; read every steepness as "
        f'"{AT_LEAST}".',
    ),
    (
        "model_smooths",
        "A model smooths: small rolls, gullies and crags are missing, and drifts and cornices.",
        lambda at: at.from_model,
        "An elevation model smooths: rolls, gullies and crags smaller than two or three cells are "
        "flattened or missing. It shows ground as surveyed, not the snow on it: drifts and cornices "
        "differ.",
    ),
    (
        "coarse_cells",
        "Cells larger than 20 m: slopes read low, most of all on steep ground.",
        lambda at: COARSE_CELL_M < (at.cell_size_m or 0.0) <= VERY_COARSE_CELL_M,
        "The model's cells are larger than 20 m, the length over which slopes are judged: its "
        "slopes read low, and most of all on steep ground.",
    ),
    (
        "very_coarse_cells",
        "Cells larger than 50 m: whole steep slopes fit between them.",
        lambda at: (at.cell_size_m or 0.0) > VERY_COARSE_CELL_M,
        "The model's cells are larger than 50 m: whole steep slopes fit between its heights. Do not "
        "read its slopes as the ground's.",
    ),
    (
        "drawn_coarser",
        "Pictures from heights over 20 m apart: they show less than the model; figures are the model's.",
        lambda at: (at.drawn_cell_m or 0.0) > max(COARSE_CELL_M, at.cell_size_m or 0.0),
        "The pictures of the ground are drawn from heights more than 20 m apart, farther than the model's: "
        "they show less of it, and look smoother. Slopes in figures are the model's.",
    ),
    (
        "cells_interpolated",
        "The model was interpolated, drawn between points or smoothed: it shows less than its cells promise.",
        lambda at: "interpolated" in at.model_found,
        "The model was made finer by interpolation, drawn between points far apart, or smoothed: it shows no "
        "more than coarser cells would, and looks smoother than the ground is. Intervals are those of the "
        "coarser cells.",
    ),
    (
        "terraces",
        "The model was drawn from contours: between them its slopes are made up.",
        lambda at: "terraced" in at.model_found,
        "The heights crowd at even steps: the model was drawn from contours. Between them its slopes are "
        "made up, flat steps beside steep ones, and what is lower than the interval is missing. Slopes are "
        "no better known than those of contours.",
    ),
    (
        "kind_doubted",
        "The heights speak against the kind of model that was stated; steybrae model tells why.",
        lambda at: "kind doubted" in at.model_found,
        "What the model's heights show speaks against the kind that was stated with --model-kind; unless "
        "--vertical-error is stated, the wider of its error and the usual one holds. steybrae model tells "
        "why.",
    ),
    (
        "rounded_heights",
        "The heights are in whole units: short pieces and gentle ground look stepped.",
        lambda at: "whole units" in at.model_found and (at.cell_size_m or 0.0) < COARSE_CELL_M,
        "The model's heights are rounded to whole units: short pieces and gentle ground look stepped, level "
        "beside too steep.",
    ),
    (
        "stripes",
        "The model has stripes: rows or columns stand too high or too low.",
        lambda at: "striped" in at.model_found,
        "Rows or columns of the model stand too high or too low from end to end: slopes across them are "
        "wrong. Intervals were widened by their height; look at the figure of steybrae model.",
    ),
    (
        "seams",
        "The model has a seam, where its parts do not meet: slopes across it are wrong.",
        lambda at: "seam" in at.model_found,
        "Parts of the model do not meet: along a line of the grid its heights step, and slopes across that "
        "line are wrong, too steep or too gentle. Where it runs the figure of steybrae model shows.",
    ),
    (
        "models_differ",
        "Models that overlap differ there: the steeper leads; area, maps and heights take the first.",
        lambda at: at.heights.tiles_differ,
        "Where the models given overlap their heights differ by more than a metre. The steeper leads in "
        "slopes, drops and overhead angles. Heights, ascents, relief and contours are of the first given, as "
        "is all that area and the desk's map show: another may be steeper. Slopes across the edge of one are "
        "wrong. Look at each alone.",
    ),
    (
        "spikes",
        "Single cells of the model are spikes or pits: the ground round them is not so.",
        lambda at: "spikes" in at.model_found,
        "Single cells of the model stand far above or below all around them, as errors do: slopes there are "
        "wrong, and a pit can hide a steep one.",
    ),
    (
        "unit_assumed",
        "Height unit not stated; metres were taken.",
        lambda at: at.unit_assumed,
        "The model does not say in what unit its heights are; metres were taken. State it with "
        "--z-unit, for feet read as metres make every slope wrong.",
    ),
    (
        "datum",
        "The line may lie tens of metres or farther beside its true place (datum).",
        lambda at: at.datum_accuracy_m is None or at.datum_accuracy_m > BALLPARK_M,
        "The shift between GPS positions (WGS 84) and the model's datum is not known well: the line "
        "may lie tens of metres or farther beside its true place.",
    ),
    (
        "place_coarse",
        "The place as written is a larger square than was looked at.",
        lambda at: at.place_coarse,
        "The place as written names a larger piece of ground than the circle that was looked at: it may "
        "lie elsewhere in that square, on steeper ground. Write it with more figures.",
    ),
    (
        "swapped",
        "A point lies off the model; latitude and longitude may be exchanged.",
        lambda at: at.places_swapped,
        "A point of the route lies off the model and would lie on it with latitude and longitude "
        "exchanged. Nothing was exchanged, and what is off the model is unknown: check their order in the "
        "route.",
    ),
    (
        "gap_unreadable",
        "The reading error is as large as the gap: anything from the figure to vertical.",
        lambda at: at.gap_unreadable,
        "The reading error is as large as the gap: the slope may be anything up to vertical. Measure "
        "over more lines, index line to index line.",
    ),
    (
        "single_gap",
        "One gap is a weak measurement: measure over several.",
        lambda at: at.single_gap,
        "One gap between two lines is a weak measurement: a tenth of a millimetre moves the answer "
        "by degrees. Measure over several gaps, and count gaps, not lines.",
    ),
    (
        "thinned_lines",
        "Maps leave contours out on steep ground: count index lines.",
        lambda at: at.thinned_lines,
        "On steep ground some maps leave thin contours out. If one is missing here the slope is "
        "steeper than shown: count index lines, which always stay.",
    ),
    (
        "ruler_only",
        "The contours' own height error was left out.",
        lambda at: at.ruler_only,
        "The contours' own height error was left out on request: the true slope may lie further from "
        "the figure than the interval says.",
    ),
    (
        "map_smooths",
        "Contours average: what is lower than the interval is not on the map.",
        lambda at: at.from_paper,
        "Contours average: a roll or crag lower than the contour interval is not on the map at all, "
        "and the interval and scale must be those printed on the sheet.",
    ),
    (
        "reading_local",
        "A reading is local; a gentle one never makes the map or the model gentler.",
        lambda at: at.from_reading,
        "An inclinometer reads a metre or two of snow, or one line of sight; the slope that slides "
        "is larger. A gentle reading never makes gentler what the map or the model shows.",
    ),
    (
        "overhead_not_runout",
        "An overhead angle does not say how far snow runs: ground without one may be hit too.",
        lambda at: at.overhead and not at.overhead_short,
        "An overhead angle says how steeply ground that could start a slide looks down on a place; "
        "it does not predict how far snow will run. Ground without such an angle may be reached too.",
    ),
    (
        "overhead_short",
        "An overhead angle says neither how far snow runs nor what stands beyond the model's end or gaps.",
        lambda at: at.overhead and at.overhead_short,
        "An overhead angle says how steeply ground that could start a slide looks down on a place; "
        "it does not predict how far snow will run. Ground without such an angle may be reached too. Within "
        "the distance looked at the model ends or has gaps: what stands beyond may look down more steeply.",
    ),
    (
        "start_zones_wide",
        "The model is weak: ground gentler than 25° may be a start zone too.",
        _wide_start,
        "How far this model may err is so little known that ground that it shows gentler than 25 degrees "
        "may be steep enough to slide: such ground counts as a possible start zone. Use a finer model, or "
        "state what is known of this one.",
    ),
    (
        "start_zones_blind",
        "The model is too weak to tell start zones.",
        _blind_start,
        "The model is too coarse, or its error too large, to tell start zones: nearly all mountain ground "
        "is a possible one, and ground that it shows gentle may slide. Use a finer model.",
    ),
    (
        "runout_published",
        "Run-out angles are for teaching, not a prediction.",
        lambda at: at.runout,
        "Run-out angles are from published cases of large slides; they are shown for teaching and "
        "are not a prediction for this slope.",
    ),
    (
        "magnetic",
        "Iron, electronics and magnetic rock turn the needle further than the stated error.",
        lambda at: at.magnetic,
        "Magnetic bearings rest on a model of the earth's field; iron, electronics and magnetic "
        "rock nearby turn the needle further than the stated error.",
    ),
    (
        "grid_zones",
        "The line lies in several UTM zones: a map has the grid bearings of one. Set magnetic ones.",
        lambda at: at.grid_zones,
        "The line lies in several UTM zones: the grid bearing of each leg, and where magnetic north lies "
        "from the grid, are those of the zone where the leg begins. The grid lines of a map are of one zone; "
        "set the magnetic bearings instead.",
    ),
    (
        "bulletin_regional",
        "A bulletin is regional: what it does not name is not free of danger.",
        lambda at: at.bulletin,
        "A bulletin is for a region and cannot assess a single slope. The aspects and heights that it names "
        "are where a problem prevails especially, never the only places; what it does not name is not free "
        "of danger.",
    ),
    (
        "treeline_unknown",
        "Treeline height not stated: ground at every height was taken as named.",
        lambda at: at.treeline_unknown,
        "The bulletin names the treeline and its height here was not stated: ground at every height was "
        "taken as named. State it with --treeline 600m.",
    ),
    (
        "lesson",
        "A lesson is not a field decision.",
        lambda at: at.lesson,
        "A lesson is not a field decision.",
    ),
)

UNIT_STEEP: Final = (
    "A tenth of the model is steeper over 60 m than almost any land is: its heights may be in feet "
    "and were taken as metres. Compare a height with the map, and state --z-unit."
)
"""Caution on a model whose ground is too steep for its unit."""

_TOLD_LINES: Final = {
    "unit_doubtful": "The heights look like another unit than was taken: state --z-unit.",
    "absurd_heights": "Heights that no land has, or across gaps, count as unknown; check voids and unit.",
    "same_heights": "Stretches of one identical number in the model: a lake, or missing ground filled up.",
    "overhead_left_out": "Part of what may be overhead was left out on request.",
}
_LINES: Final = {key: line for key, line, _, _ in _RULES} | _TOLD_LINES


MOST_SETTINGS: Final = 4000
"""Longest caution on a file of settings, characters (our choice)."""

_FREE: Final = {
    "scaled_heights": r"The numbers of the model become heights by .* compare a height with the map\.",
    "settings_file": r"Not typed but taken from .*",
    # Of a line beside the main one, whose heights no plan keeps.
    "unit_doubtful": (
        rf"{re.escape(UNIT_STEEP)}|"
        r"(Heights along the line run from -?\d+ to -?\d+ m, which no land has: they|"
        r"At least half of the line lies on ground of \d+ degrees and steeper, where nobody walks: "
        r"the heights) may be in feet, decimetres or centimetres\. "
        r"State --z-unit, or bring the model to metres\."
    ),
}
"""Cautions that rest on what no plan keeps, and how they are worded."""

_TOLD: Final = (
    *("unit_doubtful", "absurd_heights", "same_heights", "scaled_heights", "overhead_left_out"),
    "settings_file",
)
"""Cautions whose words hold figures, in their order."""


def _absurd_words(share: float) -> str:
    if share == 0.0:
        return ""
    low, high = LAND_HEIGHTS_M
    return (
        f"{_percent(share)} percent of the heights read lie below {low:.0f} or above {high:.0f} m, are 0 "
        "where no land comes near it, or lie in planes laid across gaps; they count as unknown. They may be "
        "voids that the model does not declare, or heights in feet, decimetres or centimetres: declare the "
        "voids, state --z-unit, or bring the model to metres."
    )


def _same_words(share: float) -> str:
    if share == 0.0:
        return ""
    return (
        f"{_percent(share)} percent of the heights read are stretches of one identical number, {SAME_CELLS} "
        f"x {SAME_CELLS} cells and larger: a lake, level ground in whole metres, or missing ground filled up."
        " Its slope of 0 is no better known than that: look at the map."
    )


def _percent(share: float) -> str:
    return "Less than 0.1" if share < 0.001 else f"About {percent(100.0 * share, step=0.1).figure}"


def cautions_for(at: Situation) -> tuple[Caution, ...]:
    """Cautions that apply to a result: the two that always do, then others in a fixed order; never empty."""
    found = [Caution(key, text) for key, _, applies, text in _RULES if applies(at)]
    told = {
        "unit_doubtful": at.unit_doubtful or (UNIT_STEEP if "unit doubtful" in at.model_found else ""),
        "absurd_heights": _absurd_words(at.heights.absurd_share),
        "same_heights": _same_words(at.heights.same_share),
        "scaled_heights": at.heights.scaling,
        "overhead_left_out": at.overhead_left_out,
    }
    found += [Caution(key, text) for key, text in told.items() if text]
    return tuple(found)


def without_cautions(cautions: Iterable[Caution], of: Iterable[Caution]) -> tuple[Caution, ...]:
    """Take those away that a part brought which is there no more; the two that always apply stay."""
    gone = {one.key for one in of} - {one.key for one in cautions_for(Situation())}
    return tuple(one for one in cautions if one.key not in gone)


def with_cautions(cautions: Iterable[Caution], more: Iterable[Caution]) -> tuple[Caution, ...]:
    """Add those of a part whose keys are not there yet."""
    cautions = tuple(cautions)
    there = {one.key for one in cautions}
    return (*cautions, *(one for one in more if one.key not in there))


def with_caution(cautions: tuple[Caution, ...], own: Caution) -> tuple[Caution, ...]:
    """Add a caution after the others; where one of its key is there both stand, under one key."""
    before = " ".join(one.text for one in cautions if one.key == own.key)
    others = tuple(one for one in cautions if one.key != own.key)
    return (*others, replace(own, text=f"{before} {own.text}".strip()))


def settings_file_caution(name: str, taken: Mapping[str, str], narrows: Sequence[str]) -> Caution:
    """Tell what was not typed but taken from a file of settings, by the name of its option.

    `narrows` are those that make an interval narrower.
    """
    every = ", ".join(key if value == "true" else f"{key} {value}" for key, value in taken.items())
    text = f"Not typed but taken from {name}: {every}."
    if narrows:
        text += (
            f" What is said of how well slopes are known rests on {' and '.join(narrows)} there: "
            "see that it holds for this model and this line."
        )
    return Caution("settings_file", clean(text, MOST_SETTINGS))


def joined_cautions(called_for: Iterable[Caution], held: Iterable[Caution]) -> tuple[Caution, ...]:
    """Join the cautions that figures call for, whose texts lead, with those that a file held beside them.

    Each key once, in the order held; where one was missing, in our order. Some that were held rest
    on what no file keeps, and stay; `PlanError` for one that is none of ours.
    """
    held = list(held)
    found = {caution.key: caution for caution in called_for}
    kept = [caution.key for caution in held]
    ours = {key: text for key, _, _, text in _RULES}
    for caution in held:
        share = _share_told(caution.text)
        told = {"absurd_heights": _absurd_words(share), "same_heights": _same_words(share)}
        wording = _FREE.get(caution.key)
        free = wording is not None and re.fullmatch(wording, caution.text) is not None
        if caution.key not in found and not free and caution.text != (ours | told).get(caution.key):
            message = (
                "The cautions of a plan should be ours, word for word; "
                f"{caution.key[:40]!a} is not. Save the plan again."
            )
            raise PlanError(message)
        found.setdefault(caution.key, caution)
    order = kept if found.keys() <= set(kept) else [*ours, *_TOLD, *found]
    return tuple(sorted(found.values(), key=lambda caution: order.index(caution.key)))


def _share_told(text: str) -> float:
    """Share of heights that a caution tells."""
    told = re.match(r"About (\d{1,3}\.\d) percent", text)
    return float(told[1]) / 100.0 if told else 0.0005
