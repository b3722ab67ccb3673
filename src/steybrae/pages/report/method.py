"""Method and provenance of the report: what the figures rest on, and how to repeat them."""

from __future__ import annotations

from steybrae.screening.basis import corridor_text, cross_check_text, looks_of, zones_text
from steybrae.screening.pictures.drawn import map_notes
from steybrae.screening.pictures.picture import Relief
from steybrae.screening.result import ModelFacts, RouteScreening, SettingsUsed
from steybrae.value import and_more, climb, steep_length

Row = tuple[str, tuple[str, ...]]


def method_rows(screening: RouteScreening, relief: Relief) -> tuple[Row, ...]:
    """Heading and lines of each item."""
    model, used = screening.model, screening.settings
    rows: list[Row] = [
        ("Route", screening.notes or (f"read as {screening.read_as}",)),
        ("Elevation model", _model(model)),
        ("Slope", (f"{model.method} over 3 × 3 cells ({model.engine} engine)", model.uncertainty)),
        (
            "On the line",
            (
                "the steepest of the cells that the line touches and of the eight around each",
                "never interpolated",
                f"ups and downs under {used.reversal_m:g} m are not counted",
                *_interval(used.interval_m, screening.totals.ascent_on_map_m),
            ),
        ),
        ("Corridor", (corridor_text(model, used),)),
        ("Overhead", _overhead(screening)),
        ("Band edges", (" ".join(f"{edge:g}°" for edge in used.edges_deg),)),
        ("Stated of the model", _stated(used)),
        (
            "Rounding",
            (
                "slopes, lengths of steep and unknown ground and climbs are rounded up, distances to steep "
                "ground down; bands are those of the figures shown",
            ),
        ),
        ("Map", (f"frame in {relief.crs_name}", *map_notes(relief))),
    ]
    if screening.cross_check is not None:
        rows.append(("Cross-check", tuple(cross_check_text(screening.cross_check).splitlines())))
    rows.append(("Made with", (f"steybrae {screening.version}",)))
    return tuple(rows)


def _overhead(screening: RouteScreening) -> tuple[str, ...]:
    looks = looks_of(screening)
    if looks is None:
        return ("unknown: the model knows no height of the line",)
    return (
        f"start zones: {zones_text(looks, screening.settings.start_zones, max(screening.model.cell_size_m))}",
        "steeper ground counts as well",
        f"sights of {and_more(looks.least_deg)}; neither sight nor way down says how far a slide would run",
    )


def _model(model: ModelFacts) -> tuple[str, ...]:
    datum = steep_length(model.datum_accuracy_m).text
    cell = " × ".join(f"{side:.1f}" for side in model.cell_size_m)
    return (
        f"{model.crs}, cells of {cell} m on the ground",
        f"heights in units of {model.height_unit_m:g} m (from: {model.height_unit_from})",
        f"shift from GPS positions to its datum good to {datum}",
    )


def _interval(interval_m: float | None, ascent_m: float | None) -> tuple[str, ...]:
    if interval_m is None or ascent_m is None:
        return ()
    return (f"ascent as counted on a map with contours every {interval_m:g} m: {climb(ascent_m).text}",)


def _stated(used: SettingsUsed) -> tuple[str, ...]:
    told = (
        (used.model_kind, f"kind {used.model_kind}"),
        (used.vertical_error_m, f"standard deviation of heights {used.vertical_error_m or 0.0:g} m"),
        (used.correlation_m, f"correlation length {used.correlation_m or 0.0:g} m"),
    )
    return tuple(words for value, words in told if value is not None) or ("nothing",)
