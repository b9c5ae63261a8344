"""Where everything lies: slots of the calendar, fields of the arrays, places of the draws.

Read by the kernel, by its plain reference and by `packing.py`; only constants stand here.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from drybank.traffic.chance import GOLDEN, ROW

__all__ = ["GOLDEN", "ROW"]

U: Final = np.uint64  # fields are unsigned, so that the compiled week need not ask whether an address is negative

# time: whole ticks of a microsecond; 48 bits of tick above 15 bits of slot
TICK_S: Final = 1e-6
SECOND: Final = 1_000_000
MINUTE: Final = 60 * SECOND
HOUR: Final = 3600 * SECOND
WEEK: Final = 168 * HOUR
SLOT_BITS: Final = 15
SLOT_MASK: Final = (1 << SLOT_BITS) - 1
LATEST: Final = 1 << 47
NEVER: Final = (1 << 63) - 1
MOST_WEEKS: Final = 230  # 230 weeks stay under LATEST

# calendar slots
STREAM_WALK, STREAM_EXTRA, STREAM_DROP, STREAMS = 0, 1, 2, 3
SLOT_PERSON, SLOT_BREAK, SLOT_PLAN, FIRST_WASHER = 3, 4, 5, 8

# one array of integers: cfg, then what changes (st, totals, hours, waits), then arrays of a size of their own
(TREE, PEOPLE, FTREE, POCKETS, WASHERS, ROWS, SIZES, RING, FIRST_POCKET, HORIZON, FIRST_WEEK, RETRY_MAX,
 EMPTY_STAFFED, EMPTY_OTHERS, KEEP_FREE, OVERBUY, TOP_UP_MAX, EARLY_MARGIN, NEED_MASSES, BREAKS) = range(20)  # fmt: skip
(AT_TREE, AT_PTREE, AT_FTREE, AT_PERSON, AT_POOL, AT_POCKET, AT_ROW, AT_WASHER, AT_WSTACK, AT_RING, AT_PLAN,
 AT_COIN, AT_SERIES, AT_NEED, AT_NEEDX, AT_NSEASON) = range(20, 36)  # fmt: skip
SEASON: Final = 53
KINDS: Final = 16  # most kinds of load in a need table
MOST_LOADS: Final = 5
MOST_SIZES: Final = 4

# st: what changes as the week runs
ST = 40
ST_POOL, ST_INSIDE, ST_FAULT, ST_WAIT_W, ST_WAIT_P, ST_PFREE, ST_WFREE_ALL, ST_PLAN, ST_BREAK_KEY = range(40, 49)
ST_WFREE, ST_STREAM_KEY, ST_NEXT, ST_PENDING, ST_RING = 49, 53, 56, 59, 62  # 4, 3, 3, 3 and two a line
(ST_HOUR_BEGIN, ST_HOUR_END, ST_HOW, ST_WEEK_AT, ST_SEASON, ST_STAFFED) = range(80, 86)  # of the present hour
TOTAL: Final = 96
HOURS_AT: Final = 128
HIST_AT: Final = 632
FAULT_PEOPLE, FAULT_LINE = 1, 2

# lines
RING_POCKET, RING_MOVED, RING_MOVED_NEED, RING_DROP_WASH, RING_DROP_DRY, RINGS = 4, 5, 6, 7, 8, 9

# person
PERSON_SHIFT: Final = 4
(C_KEY, C_STREAM, C_STATE, C_TRIES, C_UNWASHED, C_STARTED, C_PILE, C_MIN_LOADS, C_JOINED, C_DRYING,
 C_DRY_NEXT, C_LOST, C_WAITING) = map(U, range(13))  # fmt: skip
PERSON_FIELDS: Final = 16
BUSY, IN_WASHER_LINE, IN_POCKET_LINE, AWAY = 0, 1, 2, 3
LOST_WASHER_LINE, LOST_WASHER_WAIT, LOST_POCKET_LINE, LOST_POCKET_WAIT = 1, 2, 3, 4

# pocket
POCKET_SHIFT: Final = 4
(K_PERSON, K_PHASE, K_START, K_HEAT_END, K_DRY_AT, K_KEY, K_ROUND, K_TAKEN, K_STOP, K_PAID, K_DOWN,
 K_BANK, K_ROW, K_FAILS) = map(U, range(14))  # fmt: skip
POCKET_FIELDS: Final = 16
EMPTY, RUNNING, ENDING = 0, 1, 2
ROW_FIELDS: Final = 8  # first pocket, bank, pockets, free, left
R_BANK, R_COUNT, R_FREE, R_LEFT = map(U, range(1, 5))
ROW_MOST: Final = 64

# coin, by bank
B_START, B_FIRST, B_EACH, B_LIMIT, B_COOL, B_INSIDE, B_FILL, B_KINDS = map(U, range(8))
B_MOST, B_TOP_UP, COIN_FIELDS = U(8), U(9), 16  # most pieces of a start and of a top-up

# floats: spreads, chances, rates by stream, share that stays, season; then the need tables
PR_RETRY, PR_JOIN, PR_DRY_ONLY, PR_WASH_ONLY, PR_HABIT, PR_OVERBUY, PR_TOP_UP, PR_EARLY, PR_AWAY = range(9)
PR_LOADS, PR_SIZES, PROBS = 9, 14, 18

# dist rows
(D_WLINE, D_PLINE, D_PATIENCE_W, D_PATIENCE_P, D_RETRY, D_BELIEF, D_HABIT, D_AWAY, D_TRANSFER, D_BETWEEN,
 D_REPAIR, D_MASS) = range(12)  # fmt: skip
D_CYCLE, DISTS = 15, 19
PROB: Final = DISTS * ROW
RATES: Final = PROB + 24
KEEP: Final = RATES + 3 * 168
SEASONS: Final = KEEP + 168
FLOATS_END: Final = SEASONS + 56

# places of a person's draws
PLACE_GAP, PLACE_LIMITS, PLACE_PATIENCE, PLACE_KIND, PLACE_STAY, PLACE_RETRY, PLACE_WASH, PLACE_DRY = (
    0, 1, 2, 3, 4, 8, 100, 1000,
)  # fmt: skip

# plan
PLAN_OUT, PLAN_BACK, PLAN_STAFF, PLAN_WARM = range(4)

# counted
TOTALS: Final = (
    "events", "inside", "customers", "stayed_away", "served", "lost_washer_line", "lost_washer_wait",
    "lost_pocket_line", "lost_pocket_wait", "retries", "drop_offs", "drop_done", "washed", "loads", "damp", "early",
    "left", "pieces", "house_pieces", "top_ups", "refunded", "owed", "breakdowns", "heated_ticks", "taken_ticks",
    "washer_waits", "washer_wait_ticks", "pocket_waits", "pocket_wait_ticks",
)  # fmt: skip
(T_EVENTS, T_INSIDE, T_CUSTOMERS, T_STAYED_AWAY, T_SERVED, T_LOST, _, _, _, T_RETRIES, T_DROP_OFFS,
 T_DROP_DONE, T_WASHED, T_LOADS, T_DAMP, T_EARLY, T_LEFT, T_PIECES, T_HOUSE, T_TOP_UPS, T_REFUNDED, T_OWED,
 T_BREAKDOWNS, T_HEATED, T_TAKEN, T_WASHER_WAITS, _, T_POCKET_WAITS, _) = range(29)  # fmt: skip
N_TOTALS: Final = 29
H_CUSTOMERS, H_TAKEN, H_HEATED, HOUR_ROWS = 0, 168, 336, 3
BINS: Final = 64
HIST: Final = 168 * BINS  # washers first, pockets from here
ATTENDED: Final = HIST_AT + 2 * HIST  # 168 flags
SCRATCH: Final = ATTENDED
INTS_END: Final = ATTENDED + 168
METER_NAMES: Final = (
    "starts", "pieces", "sold_ticks", "motor_ticks", "heated_ticks", "house_pieces", "refunded", "taken_ticks",
)  # fmt: skip
M_STARTS, M_PIECES, M_SOLD, M_MOTOR, M_HEATED, M_HOUSE, M_REFUNDED, M_TAKEN = map(U, range(8))
METERS: Final = 8  # a pocket's week fills one cache line
