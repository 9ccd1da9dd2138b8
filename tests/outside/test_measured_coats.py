"""The main job on measured coats: pigments learnt alone predict their mixes, and choose them.

What single coats leave unknown (ΔE00 of the mixes, median; median of those chosen; the project's
own trials): a finite Kubelka-Munk film, K free at each wavelength and S smooth, under Saunderson's
surface (k1 0 to .03, k2 .6) comes to 1.7 to 1.9 and 1.4 to 1.7 if the mixes are fitted too; from
single coats to 3.8 to 5.5 and 2.5 to 3.8, the film as thick as the amount's power of .5 to 1, even
or not. Told from the mixes how much each pigment scatters, though not the spectrum of it, single
coats come to 3.6 and 2.8. fewtone, given every fourth mix, predicts the others to 2.3. Two dark
pigments hide the paper at the least amount, so that how strong they are is known from below only:
with their absorption from such a fit, 3.79 and 2.92 become 3.10 and 2.39.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from booth import delta_e, lab
from fewtone.learning import Learnt
from outside.measured_coats import (
    LIGHT,
    MeasuredCoats,
    Mixes,
    achieved,
    covered,
    learn_pigments,
    load,
    predicted,
)

pytestmark = pytest.mark.trial

# Simple models score more on the same mixes (from the project's own trial): mean of the two coats
# 22.1, product over paper 6.4, finite Kubelka-Munk film with hand-picked Saunderson constants 4.75
# (p90 12.5), and choosing by it 3.75.
FORWARD_MEDIAN, FORWARD_P90, INVERSE_MEDIAN = 4.0, 8.5, 3.2
# Of the measured colours within what is stated as 95 %: paints like these are not what the film
# model is made for, and what is stated must know it.
LEAST_COVERED = 0.75


@pytest.fixture(scope="module")
def coats() -> MeasuredCoats:
    """Return the measured set."""
    return load()


@pytest.fixture(scope="module")
def learnt(coats: MeasuredCoats) -> Learnt:
    """Return the pigments, learnt from single coats alone."""
    return learn_pigments(coats)


def test_mixes_are_predicted_and_chosen(
    coats: MeasuredCoats, learnt: Learnt, report_figure: Callable[[str], None]
) -> None:
    """780 measured two-pigment coats: predicted, and chosen by prediction, better than the bars.

    Nothing was chosen on the set's test file; its figures are printed beside the whole.
    """
    figures = {}
    parts: dict[str, Mixes] = {"all": coats.all_mixes, "train": coats.train, "test": coats.test}
    for name, mixes in parts.items():
        measured = lab(mixes.reflectance, coats.wavelength_nm, LIGHT)
        off = delta_e(lab(predicted(learnt, mixes), coats.wavelength_nm, LIGHT), measured)
        figures[name] = (*np.percentile(off, [50, 90]), np.median(achieved(coats, learnt, mixes)))
    for name, (median, p90, inverse) in figures.items():
        report_figure(
            f"measured coats, {name}: ΔE00 median {median:.2f}, 90 % {p90:.2f}; "
            f"chosen by prediction, median {inverse:.2f}"
        )
    held = covered(learnt, coats.all_mixes)
    report_figure(f"measured coats: 95 % intervals hold {held:.2f} of the mixes' L*, a* and b*")
    median, p90, inverse = figures["all"]
    assert len(coats.all_mixes.amount) == 780
    assert median <= FORWARD_MEDIAN
    assert p90 <= FORWARD_P90
    assert inverse <= INVERSE_MEDIAN
    assert held >= LEAST_COVERED
