"""Draw the error of the arm's angle against how far the camera is from square on.

    spoken-findings bench seeing --stills FOLDER --arms arms.csv
    python docs/view_angle.py arms.csv docs/view-angle.svg

Needs the dependency group "docs".
"""

from __future__ import annotations

import sys
from pathlib import Path

import matplotlib as mpl
import pandas as pd

mpl.use("agg")

from matplotlib import pyplot as plt

_MARKS = {"front": "o", "oblique": "s", "prone": "^", "two": "D"}


def main(table: Path, picture: Path) -> None:
    """Read the arms of a benchmark and write the picture."""
    arms = pd.read_csv(table).dropna(subset=["given_deg", "seen_deg", "from_square_deg"])
    mpl.rcParams.update({"svg.hashsalt": "view-angle", "svg.fonttype": "none"})
    figure, panels = plt.subplots(1, 2, figsize=(9, 4), sharex=True, sharey=True)
    titles = ("as in the picture", "corrected for the camera's place")
    for panel, column, title in zip(panels, ("seen_deg", "given_deg"), titles, strict=True):
        error = arms[column] - arms["true_deg"]
        for condition, mark in _MARKS.items():
            of = arms["condition"] == condition
            if of.any():
                panel.scatter(
                    arms["from_square_deg"][of],
                    error[of],
                    marker=mark,
                    facecolors="none",
                    edgecolors="black",
                    label=condition,
                )
        panel.axhspan(-5, 5, color="0.92", zorder=0)
        panel.axhline(0, color="0.5", linewidth=0.8)
        panel.set_title(f"{title}: mean error {error.abs().mean():.1f}°")
        panel.set_xlabel("camera off square on, degrees")
    panels[0].set_ylabel("read minus true elevation, degrees")
    panels[0].legend(frameon=False)
    figure.tight_layout()
    figure.savefig(picture, metadata={"Date": None})


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
