# %% [markdown]
# # Which reels lost cable that nobody logged?
#
#     WRAPLEDGER_TOKEN=… python plot_drift.py http://127.0.0.1:8000 drift.svg
#
# Cells for a notebook, and a script: the drift report as CSV, the most doubtful intervals, and a plot of all of them by
# how much each reel shrank and how probable an unlogged cut is. Standard library only; the plot is an SVG of its own.

# %%
import csv
import json
import os
import sys
import time
import urllib.request
from html import escape
from http import HTTPStatus
from pathlib import Path

SERVICE = sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8000"
PLOT = sys.argv[2] if len(sys.argv) > 2 else "drift.svg"
WIDTH, HEIGHT, MARGIN, SHOWN = 640, 400, 56, 5

# %% What the service says, the most probable first
request = urllib.request.Request(
    f"{SERVICE.rstrip('/')}/api/v1/reports/drift",
    headers={"Authorization": f"Bearer {os.environ['WRAPLEDGER_TOKEN']}", "Accept": "text/csv"},
)
while True:
    with urllib.request.urlopen(request, timeout=120) as answer:
        if answer.status != HTTPStatus.ACCEPTED:
            rows = list(csv.DictReader(line.decode() for line in answer))
            break
        print(f"Not there yet: {json.load(answer)['progress'] or 'waits for a worker'}")
        time.sleep(int(answer.headers["Retry-After"]))
print(f"{len(rows)} intervals, {sum(row['flagged'] == 'yes' for row in rows)} flagged")

# %% The most doubtful
for row in rows[:SHOWN]:
    print(f"{row['reel']}  {row['from_at'][:10]} to {row['to_at'][:10]}  p {float(row['p_unlogged_cut']):.2f}  "
          f"{row['cut_m']} m ({row['cut_low_m']} to {row['cut_high_m']})")  # fmt: skip

# %% All of them: metres that nothing explains, against the probability of an unlogged cut
lost = [-float(row["observed_change_m"]) - float(row["logged_cut_m"]) for row in rows]
low, high = min(lost, default=0.0), max([*lost, 1.0])


def across(metres: float) -> float:
    return MARGIN + (WIDTH - 2 * MARGIN) * (metres - low) / (high - low)


def up(probability: float) -> float:
    return HEIGHT - MARGIN - (HEIGHT - 2 * MARGIN) * probability


marks = [
    f'<circle cx="{across(metres):.1f}" cy="{up(float(row["p_unlogged_cut"])):.1f}" r="4" '
    f'fill="{"#b00020" if row["flagged"] == "yes" else "none"}" stroke="#333">'
    f"<title>{escape(row['reel'])}, {row['from_at'][:10]} to {row['to_at'][:10]}</title></circle>"
    for metres, row in zip(lost, rows, strict=True)
]
words = [
    f'<text x="{MARGIN}" y="{HEIGHT - 16}">{low:.0f} m</text>',
    f'<text x="{WIDTH - MARGIN}" y="{HEIGHT - 16}" text-anchor="end">{high:.0f} m shorter, and nothing logged</text>',
    f'<text x="8" y="{up(0):.0f}">0</text><text x="8" y="{up(1):.0f}">1</text>',
    f'<text x="{MARGIN}" y="24">Probability of an unlogged cut; filled: flagged</text>',
]
frame = (f'<rect x="{MARGIN}" y="{up(1):.0f}" width="{WIDTH - 2 * MARGIN}" height="{up(0) - up(1):.0f}" '
         'fill="none" stroke="#999"/>')  # fmt: skip
Path(PLOT).write_text(
    f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" font-size="13">\n'
    + "\n".join([frame, *marks, *words]) + "\n</svg>\n",
    encoding="utf-8",
)  # fmt: skip
print(f"Plotted in {PLOT}")
