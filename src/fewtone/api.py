"""The Python face: what is done to a shelf's folder. Once loaded, a `Shelf` has its own verbs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from fewtone.errors import Fault, UsageError
from fewtone.io.curves import load_curves, uncertainty_is_lost
from fewtone.io.readings import READINGS_FILE, readings_digest
from fewtone.io.settings import load_settings
from fewtone.model.curves import Curves
from fewtone.model.names import as_names, named_options
from fewtone.model.shelf import ShelfSettings
from fewtone.shelf import Shelf

if TYPE_CHECKING:
    from fewtone.learning import FitReport
    from fewtone.model.recipe import Recipe

__all__ = ["learn", "load", "new"]


@named_options
def load(folder: str | Path) -> Shelf:
    """Load a learnt shelf; its curves are those of the bottles in use, `strength` included.

    Where the readings clearly say that the hand varies otherwise than shelf.toml says, the
    settings' panel_cv and coat_cv are what was found.

    Parameters
    ----------
    folder
        The shelf's folder.

    Raises
    ------
    FewtoneError
        Its settings are wrong, or it is not learnt yet.
    """
    shelf_folder = Path(folder)
    settings = load_settings(shelf_folder)
    curves = load_curves(shelf_folder).with_strengths(settings.strengths)
    cautions = tuple(_cautions(shelf_folder, settings, curves))
    return Shelf(shelf_folder, settings.with_hand(curves.hand), curves, cautions)


@named_options
def learn(
    folder: str | Path,
    *,
    leave_out: Sequence[str] = (),
    add_rows: bool = False,
    rows_for: Recipe | str | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> FitReport:
    """Learn a shelf's curves from its readings and write them.

    Parameters
    ----------
    folder
        The shelf's folder.
    leave_out
        Panels that are not to count.
    add_rows
        Whether to write the suggested panels into readings.csv, as rows to fill in.
    rows_for
        A recipe over a keyed ground, or its line: with `add_rows` the rows that its ground needs
        are written instead, three bare readings and one strip.
    progress
        Is told how many of how many steps are done (`fewtone.learning.STEPS` names them); None for
        nobody.

    Returns
    -------
    The report of the fit.

    Raises
    ------
    FewtoneError
        Settings or readings are wrong, too few, or the folder cannot be written to; the curves
        that were there stay as they were.
    """
    from fewtone.io.curves import as_stored, save_curves
    from fewtone.io.keep import add_rows as append_rows
    from fewtone.io.readings import load_readings
    from fewtone.learning import estimate
    from fewtone.report.json import learn_document
    from fewtone.search.bounds.exponentials import film_fits

    shelf_folder = Path(folder)
    settings = load_settings(shelf_folder)
    keyed = None if rows_for is None else _keyed(settings.recipe(rows_for), add_rows)
    readings = load_readings(shelf_folder, settings)
    panels = [readings.panels.find(name) or name for name in as_names(leave_out)]
    learnt = estimate(settings, readings, leave_out=panels, progress=progress)
    curves, report = learnt.curves, learnt.report
    if add_rows:
        sprayed = [(suggested.recipe, suggested.coats) for suggested in report.spray_next]
        added, before, after = append_rows(
            shelf_folder, settings, [] if keyed else sprayed, keyed=keyed
        )
        report = replace(report, added_panels=added)
        if before == curves.readings_digest:
            # Rows without a reading tell nothing: the curves are still those of this file.
            curves = replace(curves, readings_digest=after)
    document = {**learn_document(report), "cautions": list(report.cautions)}
    # Searches stand on the curves as they will be read.
    fits = dict(film_fits(as_stored(curves)))
    save_curves(shelf_folder, replace(curves, fits=fits), document)
    return report


def _keyed(recipe: Recipe, add_rows: bool) -> Recipe:
    """The recipe, if its ground is one to add rows for."""
    if not add_rows:
        raise UsageError(Fault("`rows_for` says which rows `add_rows` is to write."))
    if "+" not in recipe.ground:
        raise UsageError(
            Fault(
                f"The ground of this recipe, {recipe.ground}, is no keyed one.",
                fix="Name a recipe over a keyed ground, such as … over 2 silver + 1 moss.",
                value=str(recipe),
            )
        )
    return recipe


@named_options
def new(
    folder: str | Path,
    *,
    demo: bool = False,
    toners: Sequence[str] = ("first-toner", "second-toner"),
    solid: Sequence[str] = ("white",),
    metallic: Sequence[str] = ("silver",),
) -> tuple[Path, ...]:
    """Write a shelf folder to fill in, or a copy of the demo shelf; return the files written.

    Parameters
    ----------
    folder
        Where it is to stand; it must be empty or not be there.
    demo
        Whether to copy the demo shelf, whose data are invented.
    toners
        Names or labels of the toners.
    solid, metallic
        Names or labels of the grounds without and with flake.

    Raises
    ------
    FewtoneError
        Something is there already, a name cannot be used, or the folder cannot be written to.
    """
    from fewtone.io.starter import copy_demo_shelf, new_shelf

    if demo:
        return copy_demo_shelf(Path(folder))
    return new_shelf(Path(folder), toners=toners, solid=solid, metallic=metallic)


def _cautions(folder: Path, settings: ShelfSettings, curves: Curves) -> list[str]:
    cautions = []
    if readings_digest(folder) != curves.readings_digest:
        cautions.append(
            f"{READINGS_FILE} has changed since this shelf was learnt: run `fewtone learn` to "
            "take the change in."
        )
    measurement = settings.measurement
    if (curves.optics.geometry, curves.stated_index) != (
        measurement.geometry,
        measurement.film_index,
    ):
        cautions.append(
            "shelf.toml names another geometry or film index than this shelf was learnt with: "
            "run `fewtone learn` again."
        )
    if uncertainty_is_lost(folder, curves):
        cautions.append(
            "How sure these curves are is not known, the file that says so is missing or damaged: "
            "run `fewtone learn` to write it anew."
        )
    unlearnt = [name for name in settings.toners if name not in curves.toners]
    if unlearnt:
        cautions.append(f"Not learnt yet, so never used: {', '.join(unlearnt)}.")
    return cautions
