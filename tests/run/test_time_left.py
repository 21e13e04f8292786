"""What is said of the time left, against the rule of three."""

from swarm.run.progress import Lines, time_left


def test_the_time_left_is_that_of_steps_like_those_done():
    assert time_left(30.0, 1, 4) == "about 90 s left"
    assert time_left(600.0, 1, 4) == "about 30 min left"
    assert time_left(3600.0, 1, 4) == "about 3.0 h left"
    assert time_left(7.0, 0, 4) == "7 s so far"
    assert time_left(7.0, 1, 11) == "7 s so far"
    assert time_left(7.0, 4, 4) == "done in 7 s"


def test_a_short_stage_is_one_line(capsys):
    from rich.console import Console

    on_done = Lines(Console()).stage("refine")
    for done in range(4):
        on_done(done, 3)
    assert capsys.readouterr().out == "refine: done in 0 s\n"
