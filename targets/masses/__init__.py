"""Bodies with mass: what pulls, how large it is, how it turns, and where it is.

A catalogue body is a point that passes; a planet or a moon bends the path, has a ground below it and turns. Decided
here, with what was seen:

* what is where comes from one place a body: the study's SPK, else DE440, else the Galilean moons' own series, else, for
  moons that keep one face to their planet, the circle that the IAU report's prime meridian describes. The last is
  marked approximate, with its error: it moves the date and the place of a pass, not its geometry
* the centre of a planet is not its system's barycentre: 227 km at Jupiter. The moons' share is taken off
* moons are sampled once, in the driver, and shipped as arrays: SPICE and the series do not live in workers
"""
