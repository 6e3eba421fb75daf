"""The colours of drawings as style: what the drawings say in the light theme, told again for the
dark one.
"""

from __future__ import annotations

from rework.draw.colours import PALETTES, WIRE, ink


def colours() -> str:
    """Return the colours of drawings as style: what the drawings say in the light theme, told again
    for the dark one.
    """
    light, dark = PALETTES["light"], PALETTES["dark"]
    rules = []
    for names, first, second in [
        ("stroke", ink(role, "light"), ink(role, "dark")) for role in WIRE
    ] + [
        ("stroke", light.ink, dark.ink),
        ("stroke", light.hazard, dark.hazard),
        ("stroke", light.removed, dark.removed),
        ("stroke", light.added, dark.added),
        ("stroke", light.faint, dark.faint),
        ("stroke", light.paper, dark.paper),
    ]:
        rules.append(f'.scene [{names}="{first}"]{{{names}:{second}}}')
    for tag, first, second in [
        ("text", light.ink, dark.ink),
        ("text", light.faint, dark.faint),
        ("text", light.hazard, dark.hazard),
        ("text", light.on_strip, dark.on_strip),
        *(("text", ink(role, "light"), ink(role, "dark")) for role in WIRE),
        *(
            (shape, ink(role, "light"), ink(role, "dark"))
            for shape in ("polygon", "path", "circle", "rect")
            for role in WIRE
        ),
        *((shape, light.block, dark.block) for shape in ("polygon", "path", "circle", "rect")),
        *((shape, light.paper, dark.paper) for shape in ("polygon", "path", "circle", "rect")),
    ]:
        rules.append(f'.scene {tag}[fill="{first}"]{{fill:{second}}}')
    dark_rules = "".join(f":root[data-theme=dark] {rule}" for rule in dict.fromkeys(rules))
    return f"@media screen{{{dark_rules}}}\n"
