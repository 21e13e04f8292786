"""What goes wrong while an SPK is written is what is told, and no broken file stays."""

import numpy as np
import pytest
import spiceypy

from targets.ephemeris import spice

EPOCHS = np.arange(8.0) * 86_400.0
OUT_OF_ORDER = EPOCHS[[0, 1, 3, 2, 4, 5, 6, 7]]
STATES = np.column_stack([1e8 + EPOCHS, np.zeros((8, 2)), np.ones(8), np.zeros((8, 2))])


def segment(epochs=EPOCHS):
    return spice.SpkSegment(-960_001, "probe 1", epochs, STATES)


@pytest.mark.parametrize("before", [[], [segment()]], ids=["the first", "a later one"])
def test_the_first_error_is_told_and_no_file_stays(tmp_path, before):
    # spkw13's header: epochs that do not rise are the error SPICE(TIMESOUTOFORDER); a file that is closed without a
    # segment is another one, SPICE(NOSEGMENTSFOUND), which is not what went wrong
    file = tmp_path / "plan.bsp"
    with pytest.raises(spiceypy.exceptions.SpiceyError) as told:
        spice.write_spk(file, [*before, segment(OUT_OF_ORDER)], window=4)
    assert "TIMESOUTOFORDER" in str(told.value)
    assert not file.exists()


def test_after_an_error_the_same_file_can_be_written(tmp_path):
    file = tmp_path / "plan.bsp"
    with pytest.raises(spiceypy.exceptions.SpiceyError):
        spice.write_spk(file, [segment(OUT_OF_ORDER)], window=4)
    spice.write_spk(file, [segment()], window=4)
    with spice.spk_body(file, -960_001) as held:
        # SPICE's own reading of what was written
        np.testing.assert_allclose(held.states(EPOCHS, held.pieces[0]), STATES, rtol=1e-15, atol=1e-6)


def test_an_error_that_is_not_of_spice_is_told_too(tmp_path):
    with pytest.raises(ValueError, match="could not convert"):
        spice.write_spk(tmp_path / "plan.bsp", [segment(["a day"])], window=4)
