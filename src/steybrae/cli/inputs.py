"""From options as typed to settings, open models and routes; shared by the commands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from steybrae.files.rasters import RasterModel
    from steybrae.route.legs import Route
    from steybrae.screening import Settings
    from steybrae.terrain.start_zones import StartRules

__all__ = ["length_m", "model_settings", "open_source", "planned_route", "start_rules", "with_start_zones"]


def length_m(text: str | None, what: str, *, zero: bool = False) -> float | None:
    """Read a ground length that may be left out."""
    from steybrae.quantities import parse_ground_length_m

    return None if text is None else parse_ground_length_m(text, what, zero=zero)


def model_settings(
    edges: str | None,
    method: str,
    engine: str = "own",
    vertical_error: str | None = None,
    correlation: str | None = None,
) -> Settings:
    """Read what says how a model is read; the rest of the settings stay at their defaults."""
    from steybrae.bands import BandScheme, parse_edges
    from steybrae.screening import Settings
    from steybrae.terrain.engines import check_engine
    from steybrae.terrain.gradients import check_method

    checked = check_method(method)
    return Settings(
        bands=BandScheme() if edges is None else parse_edges(edges),
        method=checked,
        engine=check_engine(engine, checked),
        vertical_error_m=length_m(vertical_error, "The vertical error"),
        correlation_m=length_m(correlation, "The correlation length", zero=True),
    )


def with_start_zones(
    settings: Settings, start_slopes: str | None, start_area: str | None, reach: str | None
) -> Settings:
    """Read what counts as a start zone and how far is looked; what is left out stays as it is."""
    from dataclasses import replace

    from steybrae.route.overhead_windows import check_reach_m

    reach_m = length_m(reach, "The reach")
    return replace(
        settings,
        start_zones=start_rules(settings.start_zones, start_slopes, start_area),
        reach_m=settings.reach_m if reach_m is None else check_reach_m(reach_m),
    )


def start_rules(rules: StartRules, start_slopes: str | None, start_area: str | None) -> StartRules:
    """Read what counts as a start zone; what is left out stays as it is."""
    from dataclasses import replace

    from steybrae.bands import parse_slope_range_deg
    from steybrae.quantities import parse_ground_area_m2

    if start_slopes is not None:
        low_deg, high_deg = parse_slope_range_deg(start_slopes, "The slope range of a start zone")
        rules = replace(rules, low_deg=low_deg, high_deg=high_deg)
    if start_area is not None:
        area_m2 = parse_ground_area_m2(start_area, "The least area of a start zone")
        rules = replace(rules, least_area_m2=area_m2)
    return rules


@contextmanager
def open_source(
    dem: Sequence[Path] | None, z_unit: str | None, settings: Settings, *, sample: bool
) -> Iterator[tuple[RasterModel, Settings]]:
    """Open the model, or the sample's, and tell the settings where it came from.

    Raises
    ------
    ModelError
        No model was given.
    """
    from dataclasses import replace

    from steybrae.errors import ModelError
    from steybrae.files.rasters import open_model
    from steybrae.files.sample import sample_model
    from steybrae.screening import ModelOrigin

    paths = list(dem or ()) or ([sample_model()] if sample else [])
    if not paths:
        message = "An elevation model is needed; none was given. Give --dem FILE, or --sample to try it."
        raise ModelError(message)
    with open_model(paths, z_unit) as model:
        info = model.info
        origin = ModelOrigin(
            info.files, info.fingerprints, info.height_unit_m, info.height_unit_from, sample=sample
        )
        yield model, replace(settings, origin=origin)


def planned_route(line: Path | None, legs_at: Sequence[str], turn_tolerance: str, *, sample: bool) -> Route:
    """Read the route, or the sample's.

    Raises
    ------
    RouteError
        No route was given.
    """
    from steybrae.errors import RouteError
    from steybrae.files.routes import read_route
    from steybrae.files.sample import sample_route
    from steybrae.quantities import parse_ground_length_m

    path = line or (sample_route() if sample else None)
    if path is None:
        message = "A planned line is needed; none was given. Give a GPX, GeoJSON or CSV file, or --sample."
        raise RouteError(message)
    tolerance_m = parse_ground_length_m(turn_tolerance, "The turn tolerance")
    return read_route(path, legs_at=legs_at, turn_tolerance_m=tolerance_m)
