"""The main job on measured coats: pigments learnt alone predict their mixes, and choose them."""

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
    learn_pigments,
    load,
    predicted,
)

pytestmark = pytest.mark.trial

# What simple models score on the same mixes (from the project's own trial): mean of the two coats
# 22.1, product over paper 6.4, finite Kubelka-Munk film with hand-picked Saunderson constants 4.75
# (p90 12.5), and choosing by it 3.75.
FORWARD_MEDIAN, FORWARD_P90, INVERSE_MEDIAN = 4.75, 12.0, 3.75


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
    median, p90, inverse = figures["all"]
    assert len(coats.all_mixes.amount) == 780
    assert median <= FORWARD_MEDIAN
    assert p90 <= FORWARD_P90
    assert inverse <= INVERSE_MEDIAN
