"""Words in, words out: one command for each question a user asks."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.markup import escape
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table

from culvertrisk.checks import InputError
from culvertrisk.forecast_model import typed_numbers
from culvertrisk.reports.out_folder import make_folder
from culvertrisk.settings import read_settings

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from culvertrisk.pipeline import Assessment
    from culvertrisk.plans.morning import MorningPlan

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode="rich",
    pretty_exceptions_enable=False,
    help="Which frozen culverts to open, with which truck, in which order, "
    "what is not reached, and a map of the risk.",
)
_out = Console()
_talk = Console(stderr=True)

TownFile = Annotated[
    Path, typer.Argument(help="the town file", show_default=True, metavar="TOWN")
]
OutFolder = Annotated[Path, typer.Option("--out", help="folder for what is written")]
OnDay = Annotated[
    datetime | None,
    typer.Option(
        "--on",
        formats=["%Y-%m-%d"],
        help="the day asked; without it the first forecast day of the weather file; "
        "where it has none the day after its last if numbers are typed, else its last",
    ),
]
_BARE = "; a bare number is in the town's units"
LowText = Annotated[
    str | None, typer.Option(help=f'low of the day, as "16 F", "-9 C"{_BARE}')
]
HighText = Annotated[
    str | None, typer.Option(help=f'high of the day, as "43 F", "6 C"{_BARE}')
]
RainText = Annotated[
    str | None, typer.Option(help=f'rain of the day, as "0.5 in", "18 mm"{_BARE}')
]


@contextmanager
def _steps() -> Iterator[Callable[[str], None]]:
    columns = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    with Progress(*columns, console=_talk, transient=True) as bar:
        task = bar.add_task("Starting", total=None)
        yield lambda step: bar.update(task, description=step)


@app.command()
def demo(out: OutFolder = Path("culvertrisk_out")) -> None:
    """Run the whole morning on the invented demo town.

    Example: [bold]culvertrisk demo --out demo[/bold]
    """
    from culvertrisk import pipeline

    _morning(pipeline.demo_folder() / "town.toml", out, None, {})


@app.command()
def start(
    data: Annotated[list[Path], typer.Argument(help="the town's files, in any order")],
    town: Annotated[
        Path, typer.Option("--town", help="town file to write; never overwritten")
    ] = Path("town.toml"),
) -> None:
    """Write a town file from the data there is, saying what was understood.

    Example: [bold]culvertrisk start culverts.csv roads.geojson dem.tif[/bold]
    """
    from culvertrisk import pipeline

    found = pipeline.start_town(town, data)
    table = Table("file", "taken as")
    for path, kind in found.items():
        table.add_row(str(path), kind)
    _out.print(table)
    _out.print(f"Edit it, then run: culvertrisk check {town}")
    _out.print(f"Town file: {town}", soft_wrap=True)


@app.command()
def check(
    town: TownFile = Path("town.toml"), out: OutFolder = Path("culvertrisk_out")
) -> None:
    """Read every file and list what was refused, assumed or changed, row by row.

    What would stop a later run is told too: files, weather, folder to write to.

    Example: [bold]culvertrisk check town.toml[/bold]
    """
    from culvertrisk import pipeline
    from culvertrisk.reports.exports import write_notes
    from culvertrisk.reports.note_table import note_rows
    from culvertrisk.stages.run_stops import refuse_what_stops_a_run, winter_notes

    with _steps() as progress:
        settings = read_settings(town)
        make_folder(out)
        data = pipeline.read_town(settings, progress=progress)
        notes = winter_notes(data)
        path = write_notes(out / "assumptions.csv", notes)
        progress("Looking for what would stop a run")
        refuse_what_stops_a_run(data)
    table = Table("file", "column", "what was done", "rows", "the first of them")
    for row in note_rows(notes):
        table.add_row(*map(escape, row))
    _out.print(table)
    count = len(data.crossings)
    _out.print(f"{count} crossing{'' if count == 1 else 's'} can be used.")
    _out.print(f"Row by row: {path}", soft_wrap=True)


@app.command()
def assess(
    town: TownFile = Path("town.toml"),
    on: OnDay = None,
    out: OutFolder = Path("culvertrisk_out"),
) -> None:
    """Score freeze and flood risk of every crossing for a day; write map and tables.

    Example: [bold]culvertrisk assess town.toml --on 2025-02-25[/bold]
    """
    from culvertrisk import pipeline

    with _steps() as progress:
        settings = read_settings(town)
        make_folder(out)
        assessment = pipeline.assess(settings, _day(on), progress=progress)
        progress("Writing map and tables")
        paths = pipeline.write_reports(out, assessment)
    _asked(assessment, is_planned=False)
    _worst(assessment.crossings, settings.town.units)
    _where(paths)


@app.command()
def prove(
    town: TownFile = Path("town.toml"),
) -> None:
    """Hide each logged winter in turn and tell how well the ranking finds its thaws.

    Example: [bold]culvertrisk prove town.toml[/bold]
    """
    from culvertrisk import pipeline
    from culvertrisk.reports.sentence_units import in_units
    from culvertrisk.stages.day_asked import made_up_winter

    with _steps() as progress:
        settings = read_settings(town)
        lines = pipeline.prove(settings, progress=progress)
    for line in filter(None, (made_up_winter(settings), *lines)):
        print(in_units(line, settings.town.units))


@app.command()
def morning(
    town: TownFile = Path("town.toml"),
    on: OnDay = None,
    low: LowText = None,
    high: HighText = None,
    rain: RainText = None,
    out: OutFolder = Path("culvertrisk_out"),
) -> None:
    """Plan the morning: which crossing, which truck, in which order, what is left.

    Example: [bold]culvertrisk morning town.toml --low "-9 C" --rain "18 mm"[/bold]
    """
    _morning(town, out, _day(on), {"--low": low, "--high": high, "--rain": rain})


def _morning(
    town: Path, out: Path, on: date | None, words: dict[str, str | None]
) -> None:
    from culvertrisk import pipeline
    from culvertrisk.reports.comparison_line import comparison_line

    with _steps() as progress:
        settings = read_settings(town)
        typed = typed_numbers(words, settings.town.units)
        make_folder(out)
        assessment = pipeline.assess(settings, on, typed, progress=progress)
        progress("Planning the morning")
        morning_plan = pipeline.plan_morning(assessment)
        progress("Writing map, run sheets and tables")
        paths = pipeline.write_reports(out, assessment, morning_plan)
    _asked(assessment, is_planned=True)
    _plan(morning_plan.plan)
    data = assessment.data
    told = comparison_line(morning_plan.plan, data.settings, data.roads is not None)
    _out.print(told, markup=False, soft_wrap=True)
    _where(paths)


def _asked(assessment: "Assessment", *, is_planned: bool) -> None:
    from culvertrisk.reports.calibration import uncalibrated_words
    from culvertrisk.reports.log_words import unplaced_words
    from culvertrisk.reports.planned_line import planned_line
    from culvertrisk.reports.sentence_units import in_units

    asked, units = assessment.asked, assessment.data.settings.town.units
    fitted = assessment.is_calibrated
    score = uncalibrated_words(assessment.crossings, calibrated=fitted)
    line = planned_line(asked, is_planned=is_planned)
    of_day = (line, asked.made_up, asked.no_flow, asked.not_used, *asked.assumed)
    unplaced = unplaced_words(assessment.notes)
    for told in filter(None, (*of_day, score, unplaced)):
        _out.print(in_units(told, units), markup=False, soft_wrap=True)


def _worst(crossings: "GeoDataFrame", units: str) -> None:
    from culvertrisk.reports.sentence_units import in_units

    table = Table("rank", "crossing", "road", "freeze", "flood", "why")
    worst = crossings.sort_values("priority_rank").head(10)
    for row in worst.itertuples():
        table.add_row(
            f"{row.priority_rank:.0f}",
            str(row.Index),
            str(row.road_name),
            _score(row.freeze_index, row.freeze_class),
            _score(row.flood_index, row.flood_class),
            in_units(str(row.reasons).partition(";")[0], units),
        )
    _out.print(table)


def _score(index: float, word: str) -> str:
    return f"{index:.0f} {word}" if index == index else "unknown"


def _plan(plan: "MorningPlan") -> None:
    from culvertrisk.units import clock

    # not in brackets, which the terminal's table takes for a style
    avoided = "loss avoided, person-hours"
    table = Table("truck", "stop", "arrive", "ready", "crossing", avoided)
    for stop in plan.stops.to_dict("records"):
        if stop["kind"] not in ("thaw", "fill"):
            continue
        is_thaw = stop["kind"] == "thaw"
        table.add_row(
            str(stop["crew"]),
            str(stop["stop_number"]),
            clock(stop["arrive_s"]),
            clock(stop["end_s"]),
            str(stop["culvert_id"] if is_thaw else stop["place_id"]),
            f"{stop['loss_avoided_person_h']:.0f}" if is_thaw else "",
        )
    if len(plan.stops):
        _out.print(table)
    for problem in plan.problems:
        _out.print(f"Check this: {problem}", markup=False, soft_wrap=True)
    weighty = int((plan.not_reached["loss_avoided_person_h"] >= 1).sum())
    _out.print(
        f"Not reached: {len(plan.not_reached)} crossings, {weighty} of them with a "
        "person-hour or more at stake; see the run sheets."
    )


def _day(on: datetime | None) -> date | None:
    return on.date() if on else None


def _where(paths: list[Path]) -> None:
    names = ", ".join(path.name for path in paths)
    _out.print(f"Written to {paths[0].parent}: {names}", soft_wrap=True)


def run() -> None:
    """Run the command line; the user's mistakes end with exit code 2."""
    try:
        app()
    except InputError as error:
        for problem in error.problems:
            print(f"error: {problem}", file=sys.stderr)
        sys.exit(2)
