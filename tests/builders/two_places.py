"""The estate of most acceptance tests, as text: recordings on kestrel, and what should hold them too."""

from __future__ import annotations

COPY = "heron:pool/recordings"


def two_places(
    *,
    rehearsal: bool = True,
    on_root: bool = False,
    access: str = "local",
    zone: str = "",
    copies: tuple[str, ...] = (f"{{at: {COPY}}}",),
    more: str = "",
    limits: str = "",
) -> str:
    """Return the text of an estate with two boxes, heron in the barn; `{root}` stands for the station's folder.

    `access` and `zone` are heron's, `copies` are mappings in flow style, of which the policy asks for each; `more` are
    further devices. What is added below comes under the dataset.
    """
    lines = [
        *(["rehearsal: true"] if rehearsal else []),
        *([f"limits: {limits}"] if limits else []),
        "sites:",
        "  station: {name: Field station}",
        "  barn: {name: Long Barn}",
        "devices:",
        "  kestrel:",
        "    site: station",
        "    access: local",
        f'    volumes: {{main: {{path: "{{root}}/kestrel", medium: hdd{", on_root: true" if on_root else ""}}}}}',
        "  heron:",
        "    site: barn",
        f"    access: {access}",
        *([f"    time_zone: {zone}"] if zone else []),
        '    volumes: {pool: {path: "{root}/heron", medium: hdd}}',
        *(f"  {line}" for line in more.splitlines()),
        "policies:",
        f"  careful: {{copies: {len(copies) + 1}, max_age: 26h}}",
        "datasets:",
        "  field-recordings:",
        "    policy: careful",
        "    original: kestrel:main/recordings",
        f"    copies: [{', '.join(copies)}]",
    ]
    return "\n".join(lines) + "\n"
