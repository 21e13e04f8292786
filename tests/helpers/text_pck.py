"""How bodies turn in SPICE's own form, so that SPICE says where a place is over the ground."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import spiceypy

from targets.ephemeris import spice
from targets.masses.massive import MASSES
from targets.masses.orientation import ANGLES, ORIENTATIONS


def text_pck() -> str:
    """The same coefficients in SPICE's own form: the text PCK of its Required Reading."""
    lines = ["KPL/PCK", r"\begindata"]
    for system, rows in ANGLES.items():
        # the degree is a system's: linear angles are filled up
        degree = 2 if any(len(row) > 2 for row in rows) else 1
        if degree == 2:
            lines.append(f"BODY{system}_MAX_PHASE_DEGREE = 2")
        flat = [value for row in rows for value in (*row, *[0.0] * (degree + 1 - len(row)))]
        lines.append(f"BODY{system}_NUT_PREC_ANGLES = ( {' '.join(map(repr, flat))} )")
    for body in MASSES:
        of = ORIENTATIONS[body.name]
        for key, values, terms in (
            ("POLE_RA", of.alpha, of.alpha_terms),
            ("POLE_DEC", of.delta, of.delta_terms),
            ("PM", of.w, of.w_terms),
        ):
            padded = [*values, *[0.0] * (3 - len(values))]
            lines.append(f"BODY{body.number}_{key} = ( {' '.join(map(repr, padded))} )")
            if terms:
                short = key.removeprefix("POLE_")
                lines.append(f"BODY{body.number}_NUT_PREC_{short} = ( {' '.join(map(repr, terms))} )")
        radii = (body.radius_km, body.radius_km, body.polar_radius_km)
        lines.append(f"BODY{body.number}_RADII = ( {' '.join(map(repr, radii))} )")
    # SPICE reads 132 characters of a line: what is longer goes on after its bracket
    broken = [line.replace(" (", " (\n").replace(" ", "\n").replace("\n=\n", " = ") for line in lines]
    return "\n".join([*broken, r"\begintext", ""])


@contextmanager
def turning_by_spice(file: Path) -> Iterator[None]:
    """Write the text PCK and have SPICE read it."""
    spice.load_kernels()
    file.write_text(text_pck(), encoding="ascii")
    spiceypy.furnsh(str(file))
    try:
        yield
    finally:
        spiceypy.unload(str(file))
