"""How far wood moves across the grain when its moisture changes, and what moisture the air gives it.

Source of the equations and figures: USDA Forest Products Laboratory, Wood Handbook, FPL-GTR-190
(2010) and FPL-GTR-282 (2021): chapter 4, equation 4-5 (equilibrium moisture content, EMC), and
chapter 13, table 13-5 (coefficients of dimensional change). Statistics of a material: floats.
Moisture contents are percent of the ovendry mass; temperatures degrees Celsius.
"""

from __future__ import annotations

from dataclasses import dataclass

from assistant.plans.model import Grain

# The range of the Handbook's EMC table (30 to 270 degrees F), and the range in which its coefficients hold.
# Rounded outwards, so that exactly 30 or 270 degrees F, which a plan may give, lie within.
COLDEST_C, HOTTEST_C = -1.2, 132.3
DRIEST_PERCENT, WETTEST_PERCENT = 6.0, 14.0

# Name as in table 13-5 -> (radial, tangential) change for each percent of moisture.
_TABLE: dict[str, tuple[float, float]] = {
    "Alder, red": (0.00151, 0.00256),
    "Ash, black": (0.00172, 0.00274),
    "Ash, white": (0.00169, 0.00274),
    "Aspen, quaking": (0.00119, 0.00234),
    "Basswood, American": (0.00230, 0.00330),
    "Beech, American": (0.00190, 0.00431),
    "Birch, paper": (0.00219, 0.00304),
    "Birch, river": (0.00162, 0.00327),
    "Birch, sweet": (0.00256, 0.00338),
    "Birch, yellow": (0.00256, 0.00338),
    "Butternut": (0.00116, 0.00223),
    "Cherry, black": (0.00126, 0.00248),
    "Chestnut, American": (0.00116, 0.00234),
    "Cottonwood, eastern": (0.00133, 0.00327),
    "Elm, American": (0.00144, 0.00338),
    "Hackberry": (0.00165, 0.00315),
    "Hickory, pecan": (0.00169, 0.00315),
    "Maple, red": (0.00137, 0.00289),
    "Maple, sugar": (0.00165, 0.00353),
    "Red oak, commercial": (0.00158, 0.00369),
    "White oak, commercial": (0.00180, 0.00365),
    "Persimmon, common": (0.00278, 0.00403),
    "Sassafras": (0.00137, 0.00216),
    "Sweetgum": (0.00183, 0.00365),
    "Sycamore, American": (0.00172, 0.00296),
    "Tanoak": (0.00169, 0.00423),
    "Tupelo, black": (0.00176, 0.00308),
    "Walnut, black": (0.00190, 0.00274),
    "Yellow-poplar": (0.00158, 0.00289),
    "Cedar, incense": (0.00112, 0.00180),
    "Cedar, northern white": (0.00101, 0.00229),
    "Cedar, western redcedar": (0.00111, 0.00234),
    "Douglas-fir, coast": (0.00165, 0.00267),
    "Fir, white": (0.00112, 0.00245),
    "Pine, eastern white": (0.00071, 0.00212),
    "Spruce, Sitka": (0.00148, 0.00263),
    "Mahogany, true": (0.00172, 0.00238),
}
# Trade names of the same trees (common practice, no source).
_ALSO = {
    "hard maple": "Maple, sugar",
    "rock maple": "Maple, sugar",
    "soft maple": "Maple, red",
    "northern red oak": "Red oak, commercial",
    "poplar": "Yellow-poplar",
    "tulip poplar": "Yellow-poplar",
    "tulipwood": "Yellow-poplar",
    "lime": "Basswood, American",
    "western red cedar": "Cedar, western redcedar",
    "genuine mahogany": "Mahogany, true",
    "pecan": "Hickory, pecan",
}


@dataclass(frozen=True, slots=True)
class Wood:
    """A species under its Handbook name. radial, tangential: change of size for each percent of moisture, over 0."""

    name: str
    radial: float
    tangential: float

    def across(self, grain: Grain) -> float:
        """The coefficient across the width of a board, for each percent of moisture.

        Flat-sawn wood has the tangential one, quarter-sawn the radial one. Mixed grain lies between the two; the middle
        is used, since the Handbook gives only the two ends.
        """
        mixed = (self.radial + self.tangential) / 2
        return {Grain.FLAT: self.tangential, Grain.QUARTER: self.radial, Grain.MIXED: mixed}[grain]


WOODS = {name: Wood(name, *figures) for name, figures in _TABLE.items()}


def find_wood(species: str) -> tuple[Wood, ...]:
    """The woods that this name can mean: one if it is clear, none or several if it isn't.

    Order, case and hyphens don't matter: "white ash", "Ash, white" and "ash-white"
    are the same. All words must be in the Handbook's name, or form a trade name such as "hard maple".
    """
    words = _words(species)
    if not words:
        return ()
    also = {frozenset(_words(name)): WOODS[known] for name, known in _ALSO.items()}
    if frozenset(words) in also:
        return (also[frozenset(words)],)
    exact = tuple(wood for name, wood in WOODS.items() if _words(name) == words)
    return exact or tuple(wood for name, wood in WOODS.items() if words <= _words(name))


def _words(name: str) -> set[str]:
    kept = "".join(letter if letter.isalpha() else " " for letter in name.casefold())
    return set(kept.split())


def emc(temperature_c: float, humidity: float) -> float:
    """The moisture, percent, that wood settles at in air of this temperature and relative humidity (percent).

    Equation 4-5 with its coefficients for degrees Celsius. Wood follows the air slowly, so this is
    its final moisture, not that after a day.

    Raises: ValueError outside -1.2 to 132.3 degrees C, where the table ends, or 0 to 100 percent.
    """
    if not COLDEST_C <= temperature_c <= HOTTEST_C:
        raise ValueError(f"temperature must be {COLDEST_C} to {HOTTEST_C} degrees C; got {temperature_c:g}")
    if not 0 <= humidity <= 100:
        raise ValueError(f"relative humidity must be 0 to 100 percent; got {humidity:g}")
    t, h = temperature_c, humidity / 100
    weight = 349 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    kh = k * h
    bound = (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2)
    return 1800 / weight * (kh / (1 - kh) + bound)


def strain(coefficient: float, from_percent: float, to_percent: float) -> float:
    """Change of size across the grain as a fraction of the size, positive if it swells, by chapter 13's equation.

    coefficient: from `Wood.across`. The equation is linear and holds from 6 to 14 percent moisture
    (`holds`). Outside that range it is only a guide.
    """
    return coefficient * (to_percent - from_percent)


def holds(*moistures: float) -> bool:
    """Whether the coefficients hold at all of these moistures, percent."""
    return all(DRIEST_PERCENT <= each <= WETTEST_PERCENT for each in moistures)
