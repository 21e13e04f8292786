"""What stands on the page answers a question that is named in the code beside it; what answers none is not there."""

import ast
import re
from importlib.resources import files

import pytest

from swarm.report import choice_page
from swarm.report.figure_lists import form_figures, page_figures, plan_figures
from swarm.report.page_tables import read_page_tables
from swarm.report.sections import GROUPS, made_sections

SECTIONS = [section for group in GROUPS for section in group.sections]


def test_every_section_has_a_question_of_its_own():
    questions = [section.question for section in SECTIONS]
    assert all(re.fullmatch(r"\S.{10,}\?", question) for question in questions)
    assert len(set(questions)) == len(questions)


def figures_in(html):
    return re.findall(r'data-figure="([^"]+)"', str(html))


@pytest.fixture(scope="module")
def placed(drawn_run):
    """Section -> figures in it, of a run that has every table but those of other kinds of encounter."""
    groups, _ = made_sections(read_page_tables(drawn_run))
    return {section.anchor: figures_in(section.html) for group in groups for section in group.inner}


def test_every_figure_stands_in_one_section_and_so_answers_its_question(drawn_run, placed):
    tables = read_page_tables(drawn_run)
    carried = {figure.name for figure in (*page_figures(tables), *form_figures(tables))}
    assert {figure.name for figure in plan_figures(tables, tables.plan)} <= carried
    standing = [name for names in placed.values() for name in names]
    assert sorted(standing) == sorted(carried)  # none twice, none that is carried and not shown
    assert set(placed) <= {section.anchor for section in SECTIONS}


def test_every_sentence_of_the_answer_has_its_question_beside_it():
    """In the template: before each paragraph, list or strip a comment that asks."""
    lines = files("swarm.report").joinpath("templates/answer.html").read_text(encoding="utf-8").splitlines()
    asked, said = None, 0
    for line in lines[1:]:
        if question := re.fullmatch(r"\{# (.+\?) #\}", line):
            asked = question.group(1)
        elif re.match(r"<(p|dl|h4)\b", line):
            assert asked, line
            asked, said = None, said + 1
    assert said == 8


def test_every_section_of_a_choice_of_motherships_asks_something():
    tree = ast.parse(files("swarm.report").joinpath("choice_page.py").read_text(encoding="utf-8"))
    calls = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == choice_page.ChoiceSection.__name__
    ]
    asked = [call.args[2].value for call in calls]
    assert len(asked) == len(set(asked)) == 5
    assert all(question.endswith("?") for question in asked)


def test_every_line_of_the_answer_on_a_terminal_asks_something():
    from swarm.decide import headline

    described = re.findall(r"^    ([a-z ]+?)  +(.+\?)$", headline.__doc__, re.MULTILINE)
    labels = re.findall(
        r'^        \("([a-z ]+)", \w+\(', files("swarm.decide").joinpath("headline.py").read_text(), re.M
    )
    assert [label for label, _ in described] == labels
    assert len(labels) == 8
