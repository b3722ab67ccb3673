"""Groups of options about the line and the model, as several commands take them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from steybrae.bands import parse_slope_range_deg
from steybrae.cli.options.groups import Group, flag, ground_length, option
from steybrae.frozen import dataclass
from steybrae.quantities import parse_ground_area_m2, parse_ground_length_m
from steybrae.terrain.model_kinds import ModelKind, check_kind

if TYPE_CHECKING:
    from steybrae.files.model.rasters import RasterModel
    from steybrae.route.legs import Route
    from steybrae.route.positions.places import Place
    from steybrae.screening import Settings
    from steybrae.terrain.start_zones import StartRules


@dataclass(frozen=True)
class ModelFiles(Group, panel="The model"):
    """The elevation model."""

    dem: list[Path] | None = option(
        "--dem", "Elevation model; repeat for tiles that act as one.", "FILE", kept="model"
    )
    sample: bool = flag("--sample", "Take the invented sample: its massif, and its day.")
    z_unit: str | None = option(
        "--z-unit", "Unit of the model's heights: m, ft or usft.", "UNIT", kept="model"
    )

    @property
    def paths(self) -> tuple[Path, ...]:
        """The model's files, or the sample's; `ModelError` where no model was given."""
        from steybrae.errors import ModelError
        from steybrae.files.results import sample_model

        paths = tuple(self.dem or ()) or ((sample_model(),) if self.sample else ())
        if not paths:
            message = "An elevation model is needed; none was given. Give --dem FILE, or --sample to try it."
            raise ModelError(message)
        return paths

    @contextmanager
    def opened(
        self, settings: Settings, near: Sequence[Place] = (), *, examined: bool = True
    ) -> Iterator[tuple[RasterModel, Settings]]:
        """Open the model and look at it near places; the settings are told where it came from, what it is."""
        from dataclasses import replace

        from steybrae.files.model.rasters import open_model
        from steybrae.screening.model.look import found_near

        with open_model(self.paths, self.z_unit) as model:
            settings = replace(settings, origin=model.info.origin())
            if examined:
                settings = replace(settings, model_found=found_near(model, near))
            yield model, settings


def _method(text: str) -> str:
    from steybrae.terrain.gradients import check_method

    return check_method(text)


@dataclass(frozen=True)
class ModelOptions(ModelFiles):
    """The elevation model, how well it is known and how slopes are computed on it."""

    vertical_error_m: float | None = option(
        "--vertical-error",
        "Standard deviation of the model's heights, like 1m, in place of that of its kind.",
        "LENGTH",
        read=ground_length("The vertical error"),
        kept="model",
        narrows=True,
    )
    correlation_m: float | None = option(
        "--correlation",
        "Correlation length of that error, like 50m; above 100m counts as 100m. Not given: the worst.",
        "LENGTH",
        read=ground_length("The correlation length", zero=True),
        kept="model",
        narrows=True,
    )
    model_kind: ModelKind | None = option(
        "--model-kind",
        "What it was made from: lidar, photogrammetry, contours, glo-30, aw3d-30, srtm-30, radar-30m; the "
        "usual worst for its cells is taken if not given.",
        "KIND",
        read=check_kind,
        kept="model",
        narrows=True,
    )
    method: str = option(
        "--method",
        "Slope method: horn, zevenbergen-thorne or evans.",
        "METHOD",
        default="horn",
        read=_method,
        shown="horn",
        kept="model",
    )
    engine: str = option(
        "--engine",
        "Who computes slopes: own, or richdem (optional package).",
        "ENGINE",
        default="own",
        kept="model",
    )

    def __post_init__(self) -> None:
        """Refuse an engine that there is not, or that does not know the method."""
        if self.engine != "own":
            from steybrae.terrain.engines import check_engine
            from steybrae.terrain.gradients import check_method

            check_engine(self.engine, check_method(self.method))


@dataclass(frozen=True)
class CheckedModel(ModelOptions):
    """The elevation model, and whether another engine's slopes are compared."""

    cross_check: bool = flag("--cross-check", "Compare our slopes with richdem's (optional package).")


@dataclass(frozen=True)
class LineOptions(Group, panel="The line"):
    """How a planned line is cut into legs."""

    legs_at: list[str] | None = option(
        "--legs-at", "Cut a track at a way-point name or a chainage like 1200m; repeat.", "PLACE"
    )
    turn_tolerance_m: float = option(
        "--turn-tolerance",
        "How far a track may bend from its legs before a turn point is set.",
        "LENGTH",
        default=25.0,
        shown="25m",
        read=ground_length("The turn tolerance"),
        kept="line",
    )

    def planned(self, line: Path | None, *, sample: bool) -> Route:
        """Read the route, or the sample's; `RouteError` where no route was given."""
        from steybrae.files.routes import read_route

        path = line or self._samples(sample=sample)
        return read_route(path, legs_at=self.legs_at or (), turn_tolerance_m=self.turn_tolerance_m)

    def planned_lines(self, lines: Sequence[Path], *, sample: bool) -> tuple[Route, ...]:
        """Read all routes, the main one first, or the sample's; see `planned`."""
        from steybrae.files.routes import read_routes

        paths = lines or (self._samples(sample=sample),)
        return read_routes(paths, legs_at=self.legs_at or (), turn_tolerance_m=self.turn_tolerance_m)

    def _samples(self, *, sample: bool) -> Path:
        from steybrae.errors import RouteError
        from steybrae.files.results import sample_route

        if not sample:
            message = (
                "A planned line is needed; none was given. Give a GPX, GeoJSON or CSV file, or --sample."
            )
            raise RouteError(message)
        return sample_route()


def _drift(text: str) -> float:
    from steybrae.route.corridor import check_drift

    return check_drift(_number(text, "The drift should be in degrees", ("deg", "°"), "3deg"))


def _confidence(text: str) -> float:
    return _number(text, "The confidence of a position error should be in percent", ("%",), "68%")


def _number(text: str, wanted: str, units: Sequence[str], like: str) -> float:
    from steybrae.errors import QuantityError

    bare = text.strip()
    for unit in units:
        bare = bare.removesuffix(unit)
    try:
        return float(bare)
    except ValueError:
        message = f"{wanted}; got {text!r:.60}. Write it like {like}."
        raise QuantityError(message) from None


@dataclass(frozen=True)
class CorridorOptions(Group, panel="Beside the line"):
    """The corridor: how far off the line one may be."""

    place_error_m: float | None = option(
        "--place-error",
        "Error of the turn points; 10m if not given.",
        "LENGTH",
        read=ground_length("The position error", zero=True),
        kept="line",
        narrows=True,
    )
    drift_deg: float | None = option(
        "--drift",
        "Drift of a walked bearing; 3deg if not given.",
        "DEG",
        read=_drift,
        kept="line",
        narrows=True,
    )


@dataclass(frozen=True)
class PositionOptions(Group, panel="Position error"):
    """How well the place is known."""

    within_m: float | None = option(
        "--within",
        "95 % radius of the position error, like 10m.",
        "LENGTH",
        read=ground_length("The position error", zero=True),
    )
    epe: str | None = option(
        "--epe",
        "Estimated position error as the receiver shows it.",
        "LENGTH",
        kept="position",
        unless=("--within",),
    )
    epe_confidence: float | None = option(
        "--epe-confidence",
        "Percent of positions within it; 50 is assumed if not given.",
        "PERCENT",
        read=_confidence,
        kept="position",
        beside=("--epe",),
        unless=("--within",),
    )

    def radius(self) -> tuple[float | None, str]:
        """95 % radius, metres or None, and what was assumed, in words.

        `QuantityError` where both ways were used, or a confidence without an error.
        """
        from steybrae.errors import QuantityError
        from steybrae.screening.ground.at import DEFAULT_EPE_CONFIDENCE, radius_95_m

        if self.within_m is not None and (self.epe is not None or self.epe_confidence is not None):
            message = "The position error is given by --within or by --epe; both were used. Leave one out."
            raise QuantityError(message)
        if self.epe is None:
            if self.epe_confidence is not None:
                message = (
                    "--epe-confidence belongs to --epe, which is missing. Give the error the receiver shows."
                )
                raise QuantityError(message)
            return self.within_m, ""
        error_m = parse_ground_length_m(self.epe, "The estimated position error", zero=True)
        share = DEFAULT_EPE_CONFIDENCE if self.epe_confidence is None else self.epe_confidence
        assumed = " (assumed: many receivers mean half of their fixes)" if self.epe_confidence is None else ""
        words = (
            f"Position error: {self.epe} at {share:g} %{assumed}, widened to 95 % by the circular normal law."
        )
        return radius_95_m(error_m, share), words


@dataclass(frozen=True)
class StartZoneOptions(Group, panel="Start zones"):
    """What counts as a start zone."""

    start_slopes_deg: tuple[float, float] | None = option(
        "--start-slopes",
        "Slopes of a start zone, like 30-55deg (usual).",
        "DEG-DEG",
        read=partial(parse_slope_range_deg, what="The slope range of a start zone"),
        kept="start-zones",
    )
    start_area_m2: float | None = option(
        "--start-area",
        "Least area of a start zone, like 400m2 (usual).",
        "AREA",
        read=partial(parse_ground_area_m2, what="The least area of a start zone"),
        kept="start-zones",
    )

    @property
    def start_zones(self) -> StartRules:
        """The rules; what was left out stays as it is."""
        from dataclasses import replace

        from steybrae.terrain.start_zones import StartRules

        rules = StartRules()
        if self.start_slopes_deg is not None:
            rules = replace(rules, low_deg=self.start_slopes_deg[0], high_deg=self.start_slopes_deg[1])
        return rules if self.start_area_m2 is None else replace(rules, least_area_m2=self.start_area_m2)


def _reach(text: str) -> float:
    from steybrae.route.overhead.windows import check_reach_m

    return check_reach_m(parse_ground_length_m(text, "The reach"))


@dataclass(frozen=True)
class ReachOptions(StartZoneOptions):
    """What counts as a start zone, and how far one is looked for."""

    reach_m: float | None = option(
        "--reach",
        "How far to look for start zones overhead, like 3km (usual).",
        "LENGTH",
        read=_reach,
        kept="start-zones",
    )


def screening_settings(*groups: Group) -> Settings:
    """Take from the groups what the settings of a screening know, by name; the rest stays at its default."""
    from steybrae.screening import Settings

    said = {
        field.name: getattr(group, field.name)
        for field in fields(Settings)
        for group in groups
        if getattr(group, field.name, None) is not None
    }
    return Settings(**said)
