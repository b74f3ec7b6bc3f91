"""Views onto pages: one HTML file each that opens from disk, with everything it needs inside.

Everything that comes from logs and setup is escaped by the template engine; figures enter as
JSON and the plot script once, both compressed. The page forbids itself any connection.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from reports.plot_script import packed_figures, packed_plot_script
from reports.ride_view import ride_view
from reports.sentences import SEVERITY, SEVERITY_MEANING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analyzer.ageing_result import AgeingResult
    from analyzer.compare import CompareResult
    from analyzer.limits_merge import LimitsResult
    from analyzer.predict import PredictResult
    from analyzer.ride_analysis import RideResult
    from analyzer.setup_finding import SetupCheck
    from importers.setup_types import Setup

MOST_BYTES = 3_000_000
"""No page of one ride is larger. The contract's."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """Where a page stands among others in one folder that share the plot script."""

    script: str
    """File name of the plot script."""
    links: tuple[tuple[str, str], ...]
    """(file name, text) of the pages it leads back to."""


def ride_page(result: RideResult, shelf: Shelf | None = None) -> str:
    """One ride as a page that needs nothing but a browser, or its neighbours on a shelf."""
    view = ride_view(result)
    figures = {
        "timeline": view.timeline,
        "pack-plot": view.pack_figure,
        "sides-plot": view.sides_figure,
        **{one.id: one.figure for one in view.closeups if one.figure},
        **{one.id: one.figure for one in view.profiles},
    }
    return render("ride.html.j2", view=view, figures=figures, shelf=shelf)


def setup_page(check: SetupCheck, setup: Setup) -> str:
    """A setup judged on paper, as a page that needs nothing but a browser."""
    from reports.setup_view import setup_view

    return render("setup.html.j2", view=setup_view(check, setup))


def ageing_page(result: AgeingResult, shelf: Shelf | None = None) -> str:
    """How a pack has aged, as a page that needs nothing but a browser."""
    from reports.ageing_page_view import ageing_page_view

    view = ageing_page_view(result)
    return render("ageing.html.j2", view=view, figures=view.figures, shelf=shelf)


def limits_page(
    result: LimitsResult,
    rides: Sequence[tuple[str, RideResult]] = (),
    shelf: Shelf | None = None,
) -> str:
    """Limits over one ride or many, as a page; with the rides' own results also their climbs'
    profiles."""
    from reports.limits_page_view import limits_page_view

    view = limits_page_view(result, rides)
    figures = {"climbs-plot": view.figure, **{one.id: one.figure for one in view.profiles}}
    return render("limits.html.j2", view=view, figures=figures, shelf=shelf)


def predict_page(result: PredictResult) -> str:
    """A hill not ridden yet, as a page."""
    from reports.predict_view import predict_view

    view = predict_view(result)
    return render(
        "predict.html.j2", view=view, figures={"way-plot": view.way, "shares-plot": view.figure}
    )


def compare_page(result: CompareResult, before: str = "before", after: str = "after") -> str:
    """Two rides against each other, as a page; `before` and `after` are their names."""
    from reports.compare_json import compare_object
    from reports.compare_view import compare_view

    return render("compare.html.j2", view=compare_view(compare_object(result), before, after))


def render(
    template: str,
    *,
    figures: dict[str, Any] | None = None,
    shelf: Shelf | None = None,
    **names: object,
) -> str:
    """A template with its view as page text; `figures` are those by element id, None for absent.
    Without any figure the plot script stays out."""
    drawn = {name: one for name, one in (figures or {}).items() if one is not None}
    # Base64 holds no character that HTML gives a meaning; escaping 2 MB would only cost time.
    inside = bool(drawn) and shelf is None
    script = Markup(packed_plot_script()) if inside else Markup("")
    return (
        _environment()
        .get_template(template)
        .render(
            figures=Markup(packed_figures(drawn)) if drawn else "",
            plot_script=script,
            shelf=shelf,
            style=_asset("page.css"),
            script=_asset("page.js"),
            severity_word=SEVERITY,
            severity_meaning=SEVERITY_MEANING,
            **names,
        )
    )


UNIT = re.compile(r"(?<=\d) (?=(?:mΩ|Ω|mAh|Ah|Wh|V|A|W|km/h|km|kg|m|min|s|h|Hz|rpm|°C|%)(?![\w/]))")
"""The space between a number and its unit."""


def unbroken(text: str) -> str:
    """The text with numbers kept on the line of their units."""
    return UNIT.sub("\N{NO-BREAK SPACE}", text)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["unbroken"] = unbroken
    return environment


@cache
def _asset(name: str) -> Markup:
    return Markup((files("reports") / "assets" / name).read_text("utf-8"))
