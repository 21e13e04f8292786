"""The reference names every key, and what it shows can be read; the pages come with the package."""

import re
import tomllib
from pathlib import Path

import pytest

from swarm.app.pages import PAGES, WRITTEN, page_text
from swarm.study.fields import Section
from swarm.study.reference import study_reference
from swarm.study.schema import study_from
from swarm.study.whole_study import Study
from targets.base.errors import InputError

ROOT = Path(__file__).parents[2]
FIREWEED = ROOT / "runs" / "fireweed" / "study.toml"


def sections(model=Section):
    for inner in model.__subclasses__():
        yield inner
        yield from sections(inner)


@pytest.mark.parametrize("model", [m for m in sections() if m is not Study], ids=lambda m: m.__name__)
def test_every_key_has_a_line(model):
    text = study_reference()
    for key, field in model.model_fields.items():
        name = field.alias or key
        assert f"| `{name}` |" in text or f".{name}]" in text, name


def test_a_line_says_type_unit_limits_default_and_source():
    lines = study_reference().splitlines()
    assert "| `burn_limit_m_s` | number | m/s | more than 0, at most 20000 | must be given | - |" in lines
    assert (
        "| `keepout_km` | number | km | at least 0, at most 1e+07 | 50 | flown companions passed at 50-58 km |"
        in lines
    )
    assert "| `date` | date | TDB | - | = study.start | - |" in lines
    assert any(line.startswith("| `blackouts` | list of list of 2: date | TDB |") for line in lines)
    assert any(
        line.startswith('| `kind` | one of `"elements"`, `"legs"`, `"oem"`, `"spk"` |') for line in lines
    )


def test_each_example_is_read_as_part_of_a_study():
    examples = re.findall(r"```toml\n(.*?)```", study_reference(), re.S)
    assert examples
    for text in examples:
        data = tomllib.loads(FIREWEED.read_text(encoding="utf-8")) | tomllib.loads(text)
        study = study_from(data)
        assert [leg.body for leg in study.mothership.legs] == ["Earth", "Mars", "Earth"]


@pytest.mark.parametrize("name", PAGES)
def test_each_page_has_a_title_and_lines_that_fit(name):
    text = page_text(name)
    assert text.startswith("# ")
    plain = [line for line in text.splitlines() if not line.startswith("|")]
    assert max(len(line) for line in plain) <= 122


def test_a_page_that_is_not_there_names_those_that_are():
    with pytest.raises(InputError, match="many-studies"):
        page_text("many-studys")


def test_the_pages_are_installed_with_the_package():
    data = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert "docs/*.md" in data["tool"]["setuptools"]["package-data"]["swarm.app"]
    assert {path.stem for path in (ROOT / "swarm" / "app" / "docs").glob("*.md")} == set(WRITTEN)
