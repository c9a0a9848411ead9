"""Temperatures of an enclosure's zones: each follows the room, its lamp, its mat and the mist.

Zone by zone: dT/dt = (T_room + offset + lamp_k lit + mat_k on - T) / tau, less a dip with each gram
of mist. Exact for inputs held over a step.
"""

from math import exp

import numpy as np

from monitor.simulation.courses import Column, follow
from monitor.simulation.models import EnclosureModel


class Heat:
    """The zones' temperatures and the mat's thermostat as they run on."""

    def __init__(self, step_s: float) -> None:
        self._step_s = step_s
        self._temperatures: dict[str, float] = {}
        self._mat_on = False

    def advance(
        self,
        model: EnclosureModel,
        room: Column,
        lamp: Column,
        lit: Column,
        stuck: Column,
        mist_g: Column,
    ) -> tuple[dict[str, Column], Column]:
        """Temperature of each zone at the end of each step, and the mat's power (0 to 1).

        ``lamp`` is whether the lamp burns, ``lit`` what the timer wants (the thermostat's day),
        ``stuck`` the power the mat has whatever its thermostat says.
        """
        unheated = {zone.name: room + zone.offset_k + zone.lamp_k * lamp for zone in model.zones}
        if not self._temperatures:
            self._temperatures = {name: float(column[0]) for name, column in unheated.items()}
        for zone in model.zones:
            # Pulling this far down for one step cools by the dip within it.
            pull = zone.mist_dip_k_per_g / (1.0 - exp(-self._step_s / zone.tau_s))
            unheated[zone.name] = unheated[zone.name] - pull * mist_g
        mat = self._thermostat(model, unheated, lit, stuck)
        courses = {}
        for zone in model.zones:
            course = follow(
                unheated[zone.name] + zone.mat_k * mat,
                self._temperatures[zone.name],
                zone.tau_s,
                self._step_s,
            )
            courses[zone.name] = course
            self._temperatures[zone.name] = float(course[-1])
        return courses, mat

    def _thermostat(
        self,
        model: EnclosureModel,
        unheated: dict[str, Column],
        lit: Column,
        stuck: Column,
    ) -> Column:
        if model.mat is None:
            return np.zeros(len(lit))
        feeler = next(zone for zone in model.zones if zone.name == model.mat.zone)
        night = model.mat.setpoint if model.mat.night_setpoint is None else model.mat.night_setpoint
        setpoints = np.where(lit > 0.0, model.mat.setpoint, night).tolist()
        keep = exp(-self._step_s / feeler.tau_s)
        felt, on = self._temperatures[feeler.name], self._mat_on
        powers = []
        for target, setpoint, least in zip(
            unheated[feeler.name].tolist(), setpoints, stuck.tolist(), strict=True
        ):
            if felt < setpoint - model.mat.hysteresis_k:
                on = True
            elif felt > setpoint + model.mat.hysteresis_k:
                on = False
            power = 1.0 if on else min(1.0, least)
            powers.append(power)
            aim = target + feeler.mat_k * power
            felt = aim + keep * (felt - aim)
        self._mat_on = on
        return np.array(powers)
