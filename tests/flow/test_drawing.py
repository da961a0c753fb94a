"""The drawing of a run."""

import math
import re
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from planner.cli import main
from planner.errors import DataUnfit
from planner.flow import survey_run
from planner.flow.drawing import draw
from planner.flow.drawing_parts import nice_steps
from planner.flow.survey_words import survey_record, survey_words
from tests.flow.world import FULL, World, gauge_stage
from tests.rivers import EXAMPLES

ROUGH = World()


def surveyed(**changes):
    """The run of a changed world."""
    run, river = ROUGH.but(**changes).river()
    return survey_run(run, river, ROUGH.but(**changes).series())


def test_drawing_shows_plan_section_curve_and_survey_days():
    """The drawing is sound XML with both plans, the section, the curve and each day of survey, its words first."""
    flow = surveyed()
    svg = draw(flow, flow.at(FULL, float(gauge_stage(FULL))), "us", ("Look before you step.",))
    root = ElementTree.fromstring(svg)
    texts = ["".join(item.itertext()) for item in root.iter("{http://www.w3.org/2000/svg}text")]
    for words in ("Depth from above", "Speed from above", "Section through", "Level and discharge", "2026-05-05"):
        assert any(words in text for text in texts), words
    assert texts[1].startswith("Look before")
    assert any(text.endswith("ft³/s]") for text in texts)
    assert len(re.findall("<polygon", svg)) > 200


def test_drawing_has_no_green_and_no_script():
    """No fill or stroke is nearer to green than to the other colours, and nothing in it can run."""
    flow = surveyed()
    svg = draw(flow, flow.at(FULL, float(gauge_stage(FULL))))
    for colour in set(re.findall(r"#([0-9a-f]{6})", svg)):
        r, g, b = (int(colour[i : i + 2], 16) for i in (0, 2, 4))
        assert not (g > r + 25 and g > b + 25), colour
    assert "script" not in svg


def test_names_are_escaped():
    """A name with a tag in it stays text."""
    from dataclasses import replace

    flow = surveyed()
    named = replace(flow, run=replace(flow.run, name='<b onload="x">A & B</b>'))
    svg = draw(named, named.at(FULL, float(gauge_stage(FULL))))
    ElementTree.fromstring(svg)
    assert "<b " not in svg


@pytest.mark.parametrize(
    "changes",
    [{"slope": math.nan, "with_discharge": False, "banks": "none"}, {"still": True}, {"days": ((FULL, 12),)}],
)
def test_what_is_unknown_is_left_out_of_the_drawing(changes):
    """Without current, in a lake, with a dozen soundings: still a sound drawing."""
    flow = surveyed(**changes)
    ElementTree.fromstring(draw(flow, flow.at(FULL, float(gauge_stage(FULL)))))


def test_no_soundings_no_drawing():
    """A run without soundings has nothing to draw, and the message says what is needed."""
    flow = surveyed(days=((FULL, 0),))
    with pytest.raises(DataUnfit, match="soundings"):
        draw(flow, flow.at(FULL))


def test_steps_are_round_and_reach_the_top():
    """Class edges are even, round and cover the greatest value without a class to spare on top of a wasted one."""
    for top in (0.03, 0.9, 1.0, 2.3, 5.8, 17.0, 999.0):
        steps = nice_steps(top, 5)
        assert steps[-1] >= top * (1 - 1e-9)
        assert steps[-1] <= 2.1 * top


def test_survey_words_name_the_reference_and_the_residuals():
    """Each day is told once, the reference as level 0, then n with slope and a sounding's uncertainty by part."""
    lines = survey_words(survey_record(surveyed()), "metric")
    assert "the reference" in lines[0]
    assert "level seen" in lines[1]
    assert any(line.startswith("n 0.0") for line in lines)
    assert "position" in lines[-1]


def test_the_command_writes_the_drawing(tmp_path):
    """plumbrun flow --svg writes the file beside its text."""
    path = tmp_path / "run.svg"
    words = ["flow", str(EXAMPLES / "demo"), "--run", "chute", "--now", "2026-06-12T18:00-05:00", "--svg", str(path)]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0, done.output
    text = path.read_text(encoding="utf-8")
    ElementTree.fromstring(text)
    assert "local authorities" in text.lower()
