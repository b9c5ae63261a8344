"""Where each figure stands in the rows that the reference and the kernel read.

A *row* holds the constants of one load in one pocket, worked out once; a state holds nine figures that follow
differential equations and four running sums that close the balances.
"""

from __future__ import annotations

from typing import Final

CLASSES: Final = 3

# Row of constants -----------------------------------------------------------------------------------
HEAT_W = 0  # heat released at full fire, after derating
FLOW = 1  # p V / R_air: mass flow of exhaust is FLOW / (T_s + 273.15)
KEEP = 2  # part of the exhaust that went through heater and drum, 1 - leakage
H_AIR, W_AIR = 3, 4  # make-up air
H_ROOM, W_ROOM, T_ROOM = 5, 6, 7  # air of the room, which leaks in
CONTACT = 8  # conductance of the whole load, W/K
UA_AM, UA_MF, UA_LOSS, INV_C_METAL = 9, 10, 11, 12
INV_LAG = 13  # of the thermostat, 1/s
PRESSURE = 14
WATER_FIRE = 15  # kg of water per J burned
FIRE_FLOOR, FIRE_CAP, FIRE_SLOPE, FIRE_ZERO = 16, 17, 18, 19  # fire = clip((zero - T_s) slope, floor, cap)
INV_LAG_LIMIT = 20
CLASS_0 = 21  # then, per class, the five below
CONTACT_K, INV_MASS_K, INV_COTTON_K, SHARE_K, CLASS_WIDTH = 0, 1, 2, 3, 4
KIND = CLASS_0 + CLASSES * CLASS_WIDTH  # 0 no heat, 1 on/off, 2 two-stage, 3 modulating
SETTING, BAND, LOW_FIRE, OVER, DELAY = KIND + 1, KIND + 2, KIND + 3, KIND + 4, KIND + 5
LIMIT, BAND_LIMIT = KIND + 6, KIND + 7
HEAT_END, COOL, INSIDE = KIND + 8, KIND + 9, KIND + 10  # HEAT_END < 0: heat until dry
THICKEST = KIND + 11  # which class must be dry last
ROW = KIND + 12

# State: fabric temperatures and moistures, metal, exhaust as read, inlet as its limit feels it;
# then sums: heat burned, water out less water in with the air, enthalpy out less in, loss to the room.
T_0, X_0, T_METAL, T_EXHAUST, T_LIMIT = 0, CLASSES, 2 * CLASSES, 2 * CLASSES + 1, 2 * CLASSES + 2
STATES: Final = 2 * CLASSES + 3
BURNED, WATER_OUT, ENTHALPY_OUT, LOST = STATES, STATES + 1, STATES + 2, STATES + 3
SUMS: Final = 4
WIDTH: Final = STATES + SUMS

# What one run gives -----------------------------------------------------------------------------------
(
    O_DRY_S, O_DRY_BURNED, O_DRY_WATER, O_DRY_FIRE_S, O_HEAT_END_S, O_END_S, O_BURNED, O_FIRE_S,
    O_HEAT_END_T, O_END_T, O_END_T_MAX, O_PEAK_FABRIC, O_PEAK_INLET, O_MOISTURE_HEAT_END, O_MOISTURE_END,
    O_ENERGY, O_WATER, O_TRIPS, O_STEPS, O_METAL, O_EXHAUST, O_LIMIT, OUT,
) = range(23)  # fmt: skip

# Numbers of the model that are not a pocket's -----------------------------------------------------------
HEAT_FABRIC: Final = 1300.0  # of dry cloth, J/kg K (from memory)
MOISTURE_CRITICAL: Final = 0.25  # falling rate starts here (assumed, weak)
FALLING: Final = 0.75  # its exponent (0.8 was first assumed; weak); the kernel takes two square roots for it
LEWIS: Final = 0.91  # Lewis number of water vapour in air to the 2/3 (from memory)
DRY_MEAN, DRY_THICKEST = 0.04, 0.10  # what *dry* means (assumed)
LONGEST_S: Final = 14400.0  # the model gives up here
MODE_OFF, MODE_DELAY, MODE_FULL, MODE_LOW, MODE_COOL, MODE_LIMIT = range(6)
