"""The page's script and the slides draw the same figures of a plan: texts, height, marks and places."""

import dataclasses
import re
from importlib.resources import files

import pytest

from swarm.report.chart import chart
from swarm.report.chart_rows import rows_of
from swarm.report.described import PLAN_FIGURES
from swarm.report.figure_lists import form_figures, plan_figures
from swarm.report.page import write_page
from swarm.report.page_tables import read_page_tables
from tests.helpers.made_run import make_run

pytestmark = pytest.mark.browser
DRAWN = """name => {
  const host = document.querySelector(`[data-figure=${name}]`);
  return {...host.drawnFrom, names_y: host.view.signal("names_y")};
}"""


def same_number(a, b):
    return (a is None and b is None) or a == pytest.approx(b, rel=1e-12, abs=1e-9)


def differences(figure, drawn):
    """What the script's figure has otherwise than the slide's."""
    said = []
    for key in ("title", "note", "equal", "height"):
        if getattr(figure, key) != drawn[key]:
            said.append(f"{key}: {getattr(figure, key)!r}, {drawn[key]!r}")
    for side in ("x", "y"):
        axis, other = dataclasses.asdict(getattr(figure, side)), drawn[side]
        said += [f"{side}.{key}" for key in axis if key != "names" and axis[key] != other[key]]
    if list(figure.y.names) != drawn["names_y"]:
        said.append(f"names: {figure.y.names}, {drawn['names_y']}")
    ours = [layer for layer in figure.layers if layer.x]
    theirs = [layer for layer in drawn["layers"] if layer["x"]]
    if len(ours) != len(theirs):
        return [*said, f"{len(ours)} layers, {len(theirs)}"]
    for k, (layer, other) in enumerate(zip(ours, theirs, strict=True)):
        for key in ("kind", "label", "tone", "symbol", "dashed", "fill"):
            if getattr(layer, key) != other[key]:
                said.append(f"layer {k} {key}: {getattr(layer, key)!r}, {other[key]!r}")
        if list(layer.said) != other.get("said", []):
            said.append(f"layer {k} said")
        if list(layer.key) != other.get("key", []):
            said.append(f"layer {k} key")
        for key in ("x", "y", "to"):
            ours, theirs = getattr(layer, key), other.get(key, [])
            if len(ours) != len(theirs) or not all(map(same_number, ours, theirs)):
                said.append(f"layer {k} {key}: {ours}, {theirs}")
    return said + rows_that_differ(rows_of(figure), drawn["rows"])


def rows_that_differ(ours, theirs):
    """Rows as both give them to the drawing library; the number of a layer counts only as what belongs together.

    Without the dates in milliseconds that the library adds.
    """
    said = []
    for kind in ours:
        a, b = (
            [{**{k: v for k, v in row.items() if not k.startswith("t")}, "g": 0} for row in rows]
            for rows in (ours[kind], theirs[kind])
        )
        if len(a) != len(b) or not all(map(same_row, a, b)):
            said.append(f"rows of {kind}: {a}, {b}")
    return said


def same_row(a, b):
    return a.keys() == b.keys() and all(
        a[key] == b[key] if isinstance(a[key], str) else same_number(a[key], b[key]) for key in a
    )


@pytest.fixture(scope="module")
def compared(drawn_run, browser):
    """The slide's figures of the chosen plan, and what the script drew from."""
    figures = plan_figures(tables := read_page_tables(drawn_run), tables.plan)
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto((drawn_run.folder / "report.html").as_uri())
    drawn = {figure.name: page.evaluate(DRAWN, figure.name) for figure in figures}
    context.close()
    return figures, drawn


def test_every_figure_of_a_plan_is_compared(compared):
    figures, drawn = compared
    assert [figure.name for figure in figures] == list(PLAN_FIGURES)
    assert all(drawn.values())


@pytest.mark.parametrize("name", PLAN_FIGURES)
def test_script_and_slides_agree(compared, name):
    figures, drawn = compared
    (figure,) = (figure for figure in figures if figure.name == name)
    assert differences(figure, drawn[name]) == []


@pytest.mark.parametrize("change", [{"title": "Plan"}, {"note": ""}, {"height": 0.3}, {"layers": ()}])
def test_a_change_on_one_side_is_seen(compared, change):
    figures, drawn = compared
    assert differences(dataclasses.replace(figures[0], **change), drawn[figures[0].name])


def test_page_and_slides_have_one_specification_a_figure(drawn_run):
    """What the page is given to fill differs from the slide's in rows, names, title and legend only."""
    tables = read_page_tables(drawn_run)
    forms = {figure.name: chart(figure) for figure in form_figures(tables)}
    figures = plan_figures(tables, tables.plan)
    assert set(forms) == {figure.name for figure in figures}
    for figure in figures:
        slide, form = chart(figure, titled=True), forms[figure.name]
        assert slide["marks"] == form["marks"]
        assert slide["axes"] == form["axes"]
        assert slide["scales"][:2] == form["scales"][:2]
        looks = [
            next(one for one in spec["signals"] if one["name"] == "looks")["value"] for spec in (slide, form)
        ]
        assert looks[0] == looks[1]
        assert [one["name"] for one in slide["data"]] == [one["name"] for one in form["data"]]


def test_the_script_for_figures_is_short():
    lines = files("swarm.report").joinpath("figures.js").read_text(encoding="utf-8").splitlines()
    assert len(lines) < 300


def test_the_script_has_no_words_of_its_own_for_them():
    script = "".join(
        files("swarm.report").joinpath(name).read_text(encoding="utf-8") for name in ("page.js", "figures.js")
    )
    for described in PLAN_FIGURES.values():
        words = [
            described.note,
            described.x.label,
            described.y.label,
            *(m.label for m in described.marks.values()),
        ]
        longest = max(re.split(r"\{\w+\}", described.title), key=len).strip()
        for text in (*words, longest):
            if " " in text:
                assert text not in script


def test_long_names_are_cut_alike(tmp_path, browser):
    """Names of signs that JavaScript counts twice."""
    run = make_run(tmp_path / "run", named=[sign * 40 for sign in "\U0001d53b\U0001d53c\U0001d53d"])
    write_page(run)
    tables = read_page_tables(run)
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto((run.folder / "report.html").as_uri())
    for figure in plan_figures(tables, tables.plan):
        assert differences(figure, page.evaluate(DRAWN, figure.name)) == []
    context.close()
