"""Words in, words out: one command for each question a user asks."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table

from culvertrisk.checks import InputError
from culvertrisk.settings import read_settings, with_typed_forecast

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

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
        help="the day asked; without it the first forecast day, "
        "else the last day of the weather",
    ),
]
LowC = Annotated[
    float | None, typer.Option("--low", help="tonight's low [°C], over the file's")
]
HighC = Annotated[
    float | None, typer.Option("--high", help="today's high [°C], over the file's")
]
RainText = Annotated[
    str | None, typer.Option("--rain", help='rain today, such as "18 mm"')
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

    Example: [bold]culvertrisk check town.toml[/bold]
    """
    from culvertrisk import pipeline
    from culvertrisk.reports.exports import write_notes

    with _steps() as progress:
        data = pipeline.read_town(read_settings(town), progress=progress)
        path = write_notes(out / "assumptions.csv", data.notes)
    keys = ["file", "column", "kind"]
    kinds = data.notes.groupby(keys, sort=True).size().reset_index(name="rows")
    table = Table("file", "column", "what was done", "rows")
    for row in kinds.to_dict("records"):
        table.add_row(*(str(row[key]) for key in (*keys, "rows")))
    _out.print(table)
    _out.print(f"{len(data.crossings)} crossings can be used.")
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
        _make_folder(out)
        assessment = pipeline.assess(settings, _day(on), progress=progress)
        progress("Writing map and tables")
        paths = pipeline.write_reports(out, assessment)
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

    with _steps() as progress:
        settings = read_settings(town)
        lines = pipeline.prove(settings, progress=progress)
    for line in lines:
        print(in_units(line, settings.town.units))


@app.command()
def morning(
    town: TownFile = Path("town.toml"),
    on: OnDay = None,
    low: LowC = None,
    high: HighC = None,
    rain: RainText = None,
    out: OutFolder = Path("culvertrisk_out"),
) -> None:
    """Plan the morning: which crossing, which truck, in which order, what is left.

    Example: [bold]culvertrisk morning town.toml --low -9 --high 6 --rain "18 mm"[/bold]
    """
    typed = {"air_min_c": low, "air_max_c": high, "rain_m": rain}
    _morning(town, out, _day(on), {k: v for k, v in typed.items() if v is not None})


def _morning(
    town: Path, out: Path, on: date | None, forecast: dict[str, object]
) -> None:
    from culvertrisk import pipeline

    with _steps() as progress:
        settings = with_typed_forecast(read_settings(town), forecast)
        _make_folder(out)
        assessment = pipeline.assess(settings, on, progress=progress)
        progress("Planning the morning")
        morning_plan = pipeline.plan_morning(assessment)
        progress("Writing map, run sheets and tables")
        paths = pipeline.write_reports(out, assessment, morning_plan)
    _plan(morning_plan.plan)
    _where(paths)


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
    _out.print(table)
    for problem in plan.problems:
        _out.print(f"Check this: {problem}", markup=False, soft_wrap=True)
    weighty = int((plan.not_reached["loss_avoided_person_h"] >= 1).sum())
    _out.print(
        f"Not reached: {len(plan.not_reached)} crossings, {weighty} of them with a "
        "person-hour or more at stake; see the run sheets."
    )


def _make_folder(out: Path) -> None:
    """Make the folder before the work starts, or say why that cannot be."""
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        found = f"a place where none can be made ({error.strerror})"
        remedy = "Give another folder; nothing was worked out or written."
        problem = f"--out {out}: must be a folder, got {found}. {remedy}"
        raise InputError([problem]) from error


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
