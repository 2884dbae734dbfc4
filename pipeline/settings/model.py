"""What a city may say, one frozen model a section; unknown keys are refused.

Numbers that bear on safety are not settings: they are published tables, which a city overrides in
its `overrides` folder so that each change is reported.
"""

from datetime import date, time
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from pipeline.settings.quarter import Quarter

Longitude = Annotated[float, Field(ge=-180, le=180)]
Latitude = Annotated[float, Field(ge=-90, le=90)]
CrewType = Literal["climb", "lift", "ground", "inspect", "instrument"]
Weekday = Literal["Mo", "Tu", "We", "Th", "Fr", "Sa", "Su"]


class Section(BaseModel):
    """Base of all sections: frozen, no key that nobody reads, no number without an end."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", arbitrary_types_allowed=True, allow_inf_nan=False
    )


class Wind(Section):
    """The gusts of the place and the ground that meets them."""

    region: str = Field(
        "",
        description="region of config/published/gust_regions.csv; empty: by the gusts given below, "
        "else a common region, said in every output",
    )
    terrain: Literal["open_water", "open", "suburban", "dense_city"] = "suburban"
    gust_50_m_per_s: float | None = Field(
        None, gt=0, le=120, description="3-second gust at 10 m in the open, once in 50 years [m/s]"
    )
    gumbel_location_m_per_s: float | None = Field(
        None, gt=0, le=120, description="location of the yearly largest gust [m/s]"
    )
    gumbel_scale_m_per_s: float | None = Field(
        None, gt=0, le=30, description="scale of the yearly largest gust [m/s]"
    )
    ground: Literal["drained", "wet"] = Field(
        "drained", description="wet: saturated in the season of the storms; roots hold less"
    )


class City(Section):
    """Who and where."""

    name: str = Field(min_length=1, description="name on every page")
    region: str = Field(
        "",
        description="region of the rule tables, as 'us-ny'; empty: the strictest windows",
    )
    population: int | None = Field(None, ge=1, description="residents, for sanity bounds")
    crs: str | None = Field(
        None, description="metric CRS of the run, as 'EPSG:32618'; empty: the UTM zone of the trees"
    )
    language: Literal["en"] = "en"
    wind: Wind = Wind()


class InputFile(Section):
    """One input: a file, or several that are one table."""

    files: tuple[str, ...] = Field(min_length=1, description="names relative to the data folder")
    columns: str | None = Field(
        None, description="column map: a name in config/columns, or a path; empty: canonical names"
    )
    crs: str | None = Field(None, description="CRS of the coordinates where the file carries none")
    encoding: str | None = Field(None, description="text encoding; empty: detected")
    delimiter: str | None = Field(None, description="delimiter; empty: detected")
    layer: str | None = Field(None, description="layer or sheet of the file")
    surveyed_on: date | None = Field(
        None, description="day of the survey, for evidence in rows that carry no date of their own"
    )
    bounding_box: tuple[Longitude, Latitude, Longitude, Latitude] | None = Field(
        None, description="west, south, east, north; rows outside are set aside and counted"
    )


class EarlierTrees(InputFile):
    """An earlier vintage of the inventory, compared with the present one and never added to it."""

    surveyed_on: date = Field(description="day, or last day of the year, that the file describes")


class OsmFile(Section):
    """An OpenStreetMap extract and what to take from it."""

    file: str = Field(description="PBF or XML extract, relative to the data folder")
    take: tuple[Literal["trees", "zones", "streets", "basemap"], ...] = (
        "zones",
        "streets",
        "basemap",
    )


class Inputs(Section):
    """All inputs; only trees are needed, from files or from an OpenStreetMap extract."""

    trees: tuple[InputFile, ...] = ()
    sightings: tuple[InputFile, ...] = ()
    inspections: tuple[InputFile, ...] = ()
    zones: tuple[InputFile, ...] = ()
    streets: tuple[InputFile, ...] = ()
    wards: tuple[InputFile, ...] = ()
    basemap: tuple[InputFile, ...] = ()
    decisions: tuple[InputFile, ...] = ()
    work_done: tuple[InputFile, ...] = ()
    earlier_trees: tuple[EarlierTrees, ...] = ()
    osm: OsmFile | None = None


class Ingest(Section):
    """What is read beside the plain columns."""

    read_notes: bool = Field(
        True,
        description="read the free-text notes of the trees: fungi and damage that they name become "
        "weak evidence, each with its words on the review list",
    )


class Matching(Section):
    """How sightings are joined to trees."""

    cap_m: float = Field(60.0, gt=0, description="candidates are never farther than this")
    inventory_error_m: float = Field(3.0, ge=0, description="68 % radius of the trees' own places")
    attach_at: float = Field(0.9, gt=0.5, le=1, description="weight from which a tree is attached")
    unlisted_per_listed: float = Field(
        1.0, ge=0, description="unlisted trees per listed one within the cap, at least one in all"
    )
    misspelling_score: float = Field(
        90.0, ge=50, le=100, description="least similarity, 0-100, for a misspelt name"
    )


class Rating(Section):
    """How trees are rated."""

    method: Literal["matrix", "points"] = "matrix"
    time_frame_years: float = Field(3.0, ge=1, le=5)
    accepted_rating: Literal["low", "moderate", "high"] = Field(
        "moderate", description="the gentlest action that reaches this rating is chosen"
    )
    assumed_occupancy: Literal["rare", "occasional", "frequent", "constant"] = Field(
        "frequent", description="occupancy under a tree with no zone known; said in every output"
    )
    shelter: bool = Field(
        False,
        description="buildings may stop a fall on what stands behind them; said in the report",
    )


class Depot(Section):
    """Where crews start and end."""

    name: str
    longitude: Longitude
    latitude: Latitude


class Crew(Section):
    """One crew."""

    id: str = Field(min_length=1)
    type: CrewType
    depot: str
    machines: tuple[str, ...] = ()
    days: tuple[Weekday, ...] = ("Mo", "Tu", "We", "Th", "Fr")
    shift_start: time = time(7, 30)
    hours_per_day: float = Field(7.5, gt=0, le=14, description="at work and on the road, no break")
    break_start: time | None = Field(
        time(12, 0), description="all stop here, wherever they are; who drives stops on arrival"
    )
    break_min: float = Field(30.0, ge=0, le=120, description="length of the break; 0: none")
    load_min: float = Field(
        0.0, ge=0, le=180, description="of each shift, before it leaves: machines are fetched"
    )
    unload_min: float = Field(
        0.0, ge=0, le=180, description="of each shift, after its return: chips are emptied"
    )
    hours_per_quarter: float | None = Field(
        None, ge=0, description="crew-hours for this work in a quarter; empty: every working day"
    )
    hourly_rate: float | None = Field(None, ge=0, description="money an hour, for costs")
    own: bool = True


class Planning(Section):
    """How work is planned."""

    quarters: int = Field(4, ge=1, le=8)
    straight_line_factor: float = Field(
        1.4, ge=1, description="driven over straight-line distance where no street leads"
    )
    straight_line_speed_km_h: float = Field(25.0, gt=0)
    stop_setup_min: float = Field(5.0, ge=0, description="parking and signing at each stop")
    holidays: tuple[date, ...] = Field(
        (), description="days on which nobody works; only make-safe on the day of the run does"
    )
    block_days: int = Field(
        10,
        ge=1,
        le=65,
        description="working days whose routes are made together: fewer do what is urgent sooner, "
        "more drive less",
    )
    lead_in_share: float = Field(
        0.25,
        ge=0,
        le=1,
        description="share of each crew's working days between the day of the run and the first "
        "quarter that goes to jobs due before that quarter begins; 0: none, and they come late",
    )
    days_after_test: int = Field(
        7,
        ge=0,
        le=90,
        description="days between a test and the removal that it may lift: time to read it",
    )
    budget: float | None = Field(
        None,
        ge=0,
        description="money for all quarters planned, by the crews' hourly rates; "
        "empty: no limit. Making safe is never left out for money",
    )
    machine_hours: dict[str, Annotated[float, Field(ge=0)]] = Field(
        {}, description="hours a quarter of machines that are scarce, by name; others: no limit"
    )
    overtime_share: float = Field(
        0.0, ge=0, le=0.5, description="share of each crew's hours that may come on top"
    )
    overtime_rate: float = Field(
        1.5, ge=1, le=3, description="an hour of overtime costs this many times the hour"
    )
    ward_share: float = Field(
        0.0,
        ge=0,
        le=1,
        description="share of its part of the harm removed that each ward is owed; 0: none",
    )


class WhatIf(Section):
    """Changed limits under which the work is chosen once more, to be compared with the plan."""

    name: str = Field(min_length=1, max_length=60, description="as it stands in the report")
    hours: dict[CrewType, Annotated[float, Field(ge=0, le=10)]] = Field(
        {}, description="crew type to how many times its hours"
    )
    machine_hours: dict[str, Annotated[float, Field(ge=0)]] = Field(
        {}, description="hours a quarter of a machine"
    )
    budget: float | None = Field(None, ge=0, description="money for all quarters planned")
    overtime_share: float | None = Field(None, ge=0, le=0.5)


class Output(Section):
    """What the pages show."""

    council_from: Literal["moderate", "high", "extreme"] = "high"
    contact: str = Field("", description="public office that answers questions, as an office")
    sentences: str = Field(
        "",
        description="the city's own sentences, in the form of config/sentences.toml, relative to "
        "this file; empty: all in English",
    )
    tree_pages: int = Field(
        1_000,
        ge=0,
        description="most trees that get a page of their own in trees/, the worst first; a page of "
        "any other tree comes with soundwood explain TREE --page FILE",
    )


class Settings(Section):
    """All settings of a run, with the folders they are relative to."""

    city: City
    inputs: Inputs
    ingest: Ingest = Ingest()
    matching: Matching = Matching()
    rating: Rating = Rating()
    planning: Planning = Planning()
    what_if: tuple[WhatIf, ...] = ()
    output: Output = Output()
    depots: tuple[Depot, ...] = ()
    crews: tuple[Crew, ...] = ()
    data: str | None = Field(
        None, description="folder of the input files, relative to this file; --data overrides it"
    )
    as_of: date | None = Field(
        None, description="day of the run; empty: today; --as-of overrides it"
    )
    quarter: str | None = Field(
        None,
        description="first quarter planned, as 2027Q1; empty: the one after the day of the run",
    )


class RunSettings(Section):
    """Settings made complete: nothing left to default at run time."""

    settings: Settings
    settings_path: Path
    data_dir: Path
    as_of: date
    first_quarter: Quarter
    overrides_dir: Path | None
    column_maps_dir: Path
    rules_dir: Path
    sentences_path: Path | None = None
