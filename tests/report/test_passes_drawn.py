"""Tables of passes made for drawing, against the table of passes, closed forms and the judgement."""

import numpy as np
import pytest

from swarm.encounter.pass_table import cases_of_table
from swarm.encounter.pass_worth import worth_of
from swarm.report.pass_drawn import pass_tables
from swarm.run.tables import parquet_tables
from swarm.run.tables.declaration import problems_of
from swarm.study.study_file import read_study
from targets.masses.massive import mass_named
from tests.helpers.skimming import demonstration, screening_of, study_in


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    text = demonstration("sorrel", altitudes_km="[400]", release_days_before="[20]", clock_step_deg="120")
    study = read_study(study_in(tmp_path_factory.mktemp("drawn"), text))
    table = screening_of(study).opportunities
    return study, table, pass_tables(study, table)


def of(table, **wanted):
    return [row for row in table.to_pylist() if all(row[key] == value for key, value in wanted.items())]


def xyz(rows):
    return np.array([[row[f"{axis}_km"] for axis in "xyz"] for row in rows])


def test_tables_are_as_declared(drawn):
    _, _, made = drawn
    assert set(made) == {"pass_paths", "ground_tracks", "pass_trade"}
    for name, table in made.items():
        assert problems_of(parquet_tables()[name], table) == []


def test_paths_pass_where_the_table_says(drawn):
    """The lowest point of each path is as high as the table has it; about Jupiter the moon is there too."""
    _, table, made = drawn
    europa = mass_named("Europa")
    for row in table.to_pylist():
        near = of(made["pass_paths"], opportunity=row["opportunity"], about="Europa", what="probe")
        distances = np.linalg.norm(xyz(near), axis=1)
        k = int(distances.argmin())
        assert near[k]["tdb_s"] == pytest.approx(row["encounter_tdb_s"], abs=0.01)
        flat = europa.radius_km - europa.polar_radius_km
        assert row["altitude_km"] - flat - 0.1 < distances[k] - europa.radius_km < row["altitude_km"] + 0.1
        probe = of(made["pass_paths"], opportunity=row["opportunity"], about="Jupiter", what="probe")
        moon = of(made["pass_paths"], opportunity=row["opportunity"], about="Jupiter", what="Europa")
        apart = np.linalg.norm(xyz(probe) - xyz(moon), axis=1)
        assert apart == pytest.approx(distances, abs=1e-3)
        # semi-major axis 671 100 km, eccentricity 0.009 (the mean elements that the project ships)
        assert np.linalg.norm(xyz(moon), axis=1) == pytest.approx(np.full(len(moon), 671_000.0), rel=0.012)


def test_ground_and_terminator(drawn):
    """The track is over the place of the table at the pass; the terminator is a right angle from the Sun."""
    _, table, made = drawn
    for row in table.to_pylist():
        track = of(made["ground_tracks"], opportunity=row["opportunity"], what="track")
        k = int(np.argmin([abs(point["tdb_s"] - row["encounter_tdb_s"]) for point in track]))
        for name in ("latitude_deg", "longitude_e_deg", "altitude_km"):
            assert track[k][name] == pytest.approx(row[name], abs=1e-3)
        (sun,) = of(made["ground_tracks"], opportunity=row["opportunity"], what="sun")
        edge = of(made["ground_tracks"], opportunity=row["opportunity"], what="terminator")
        cosines = normals(edge) @ normals([sun])[0]
        assert np.abs(cosines).max() < 1e-9
        # the Sun's height over the ground of the table is the angle between the place and where it stands overhead
        up = normals([row])[0] @ normals([sun])[0]
        assert np.degrees(np.arcsin(up)) == pytest.approx(row["sun_elevation_deg"], abs=0.05)


def normals(rows):
    latitude, longitude = (
        np.radians([row[name] for row in rows]) for name in ("latitude_deg", "longitude_e_deg")
    )
    return np.stack(
        [np.cos(latitude) * np.cos(longitude), np.cos(latitude) * np.sin(longitude), np.sin(latitude)], axis=1
    )


def test_at_its_own_height_a_pass_is_worth_what_was_judged(drawn):
    study, table, made = drawn
    worth = worth_of(study, cases_of_table(table))
    for k, row in enumerate(table.to_pylist()):
        own = of(made["pass_trade"], opportunity=row["opportunity"])
        heights = np.array([point["altitude_km"] for point in own])
        assert (np.diff(heights) > 0.0).all()
        for name in ("expected_quality", "shown_chance"):
            values = np.array([point[name] for point in own])
            assert np.interp(400.0, heights, values) == pytest.approx(getattr(worth, name)[k], abs=0.01)
        chances = np.array([point["impact_chance"] for point in own])
        assert (np.diff(chances) <= 0.0).all()
        beside = np.searchsorted(heights, 400.0)
        assert chances[beside] <= row["impact_chance"] <= chances[beside - 1]
