"""What the sheet of strips tells the clinician."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from logger.seeing.markers.strips import StripName

STEPS: Final[tuple[str, ...]] = (
    """Print on stiff paper (200 g/m² or more) at actual size (100 %), not “fit to page”. Hold a
    bank card against the outline below: it must match, and the bar must be 100 mm long.""",
    """Cut along the solid lines. Score and fold along the dashed lines, print outwards, about as
    far as drawn below; the facets stay flat. Only the arm that is tested needs a strip.""",
    """Trunk: patient on the back: CHEST strip on the breastbone, arrow along it to the head.
    Patient face down: BACK strip between the shoulder blades, arrow along the spine to the head.
    Bend the two feet out and tape them down; the middle facet stands off the body.""",
    """Arm: middle of the upper arm, right strip on the right arm. The arrow lies along the bone: on
    the line from the bony tip of the shoulder (acromion) to the outer bump of the elbow (lateral
    epicondyle), pointing to the shoulder. Turn the strip round the arm so that two or three facets
    face the camera; the arrow's direction stays.""",
    """Film so that two facets or more of each strip are in view; what the hands cover otherwise
    does not matter. Stay within about 1.3 m for a picture of 640x480, 2 m for 1280x720 and 3 m
    for 1920x1080.""",
    """Begin with the arm along the trunk, still and in view for a second, and give its time with
    --neutral: this takes out how the breastbone slopes and how the strips sit.""",
)
SAFETY: Final = (
    "Use tape that is meant for skin, and never on broken or sore skin. This is a record-keeping "
    "aid and no medical device. Hands-on testing can hurt: local rules and the licensed clinician "
    "decide whether and how to test."
)
ON_ARM: Final = (
    "Wrap it round the middle of the upper arm and tape or strap it on, the arrow along the bone. "
    "Thin arm: cut off a facet at one end."
)
TITLES: Final[Mapping[StripName, tuple[str, str]]] = {
    "chest": ("CHEST", "towards the head"),
    "back": ("BACK  (patient face down)", "towards the head"),
    "right_arm": ("RIGHT upper arm", "towards the shoulder"),
    "left_arm": ("LEFT upper arm", "towards the shoulder"),
}
"""What a strip is for and where its arrow points, left and right of the arrow."""
