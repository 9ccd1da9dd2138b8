"""A target: the colour that was asked for."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fewtone.colorimetry import Light, lab_from_xyz, white_point, xyz
from fewtone.errors import Fault, UsageError
from fewtone.model.shelf import Measurement
from fewtone.optics.film import Geometry
from fewtone.typing import FloatArray, FloatLike, frozen

__all__ = ["Target", "TargetSpectrum", "target_geometry"]


@dataclass(frozen=True, slots=True, eq=False)
class TargetSpectrum:
    """The spectrum of what was asked for.

    Parameters
    ----------
    wavelength_nm
        [nm], ascending, shape ``(n_wavelengths,)``.
    reflectance
        Reflectance factor [1], shape ``(n_wavelengths,)``.
    """

    wavelength_nm: FloatArray
    reflectance: FloatArray


@dataclass(frozen=True, slots=True)
class Target:
    """The colour that was asked for.

    Parameters
    ----------
    lab
        CIELAB under `light`.
    light
        The illuminant and observer that it is taken to be in.
    geometry
        The geometry that it is taken to be read in.
    request
        How it was asked for: the text, the swatch's number, the file.
    name
        Its name, if it has one.
    cautions
        What should be told about it.
    spectrum
        Its spectrum, where that is known; its colour can then be worked out in any light.
    """

    lab: tuple[float, float, float]
    light: Light
    geometry: Geometry
    request: str = ""
    name: str = ""
    cautions: tuple[str, ...] = ()
    spectrum: TargetSpectrum | None = None

    @classmethod
    def of_spectrum(
        cls,
        wavelength_nm: FloatLike,
        reflectance: FloatLike,
        light: Light,
        geometry: Geometry,
        request: str = "",
    ) -> Target:
        """The colour of a spectrum in a light.

        Parameters
        ----------
        wavelength_nm, reflectance
            [nm], ascending, and reflectance factor [1], shape ``(n_wavelengths,)`` each.
        light
            Illuminant and observer.
        geometry
            How it was read.
        request
            What it is called, such as its file.

        Raises
        ------
        FewtoneError
            The wavelengths do not reach far enough for a colour.
        """
        spectrum = TargetSpectrum(frozen(wavelength_nm), frozen(reflectance))
        return cls(_lab(spectrum, light), light, geometry, request, spectrum=spectrum)

    def in_light(self, light: Light) -> Target:
        """The same in another light, which its name then tells.

        Parameters
        ----------
        light
            Illuminant and observer.

        Raises
        ------
        UsageError
            Its spectrum is not known: Lab says a colour in one light alone.
        """
        name = f"{self.name or self.request} in {light}".strip()
        if light == self.light:
            return replace(self, name=name)
        if self.spectrum is None:
            raise UsageError(
                Fault(
                    f"The target is known in {self.light} alone: CIELAB does not say what it looks "
                    f"like in {light}.",
                    fix="Give a spectrum of it (a CSV, CxF3 or CGATS file), or leave `lights` out.",
                    value=self.request,
                )
            )
        return replace(self, lab=_lab(self.spectrum, light), light=light, name=name)


def target_geometry(
    stated: Geometry | str | None, measurement: Measurement, *, anyway: bool, request: str
) -> tuple[Geometry, tuple[str, ...]]:
    """The geometry that a target is read in, and what should be told about it.

    Parameters
    ----------
    stated
        What is said of it; the shelf's own if None.
    measurement
        How the shelf is read.
    anyway
        Whether another geometry than the shelf's is let through, with a caution.
    request
        How the target was asked for, for the message.

    Raises
    ------
    UsageError
        There is no such geometry; or it is another than the shelf's, and `anyway` is false.
    """
    of_shelf = measurement.geometry
    if stated is None:
        return of_shelf, ()
    if stated not in tuple(Geometry):
        known = ", ".join(Geometry)
        raise UsageError(
            Fault("There is no such geometry.", f"Known are {known}.", value=str(stated))
        )
    stated = Geometry(stated)
    if stated == of_shelf:
        return of_shelf, ()
    why = (
        f"The target is read in {stated}, the shelf in {of_shelf}: gloss, flake and a film's depth "
        "count differently, so that one and the same panel gives two colours"
    )
    if not anyway:
        raise UsageError(
            Fault(
                f"{why}.",
                fix=f"Read the target in {of_shelf}; or go on with `anyway` and let a first panel "
                "tell.",
                value=request,
            )
        )
    return stated, (f"{why}: take what comes for a first panel, not for a match.",)


def _lab(spectrum: TargetSpectrum, light: Light) -> tuple[float, float, float]:
    values = xyz(spectrum.reflectance, spectrum.wavelength_nm, light)
    lightness, a, b = lab_from_xyz(values, white_point(light)).tolist()
    return lightness, a, b
