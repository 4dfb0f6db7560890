"""The arrow between the packages and the order of modules: imports go one way only."""

import ast
import tomllib
from pathlib import Path

import pytest

from fingering_db.store import COMPUTES, TELLS_ONLY

ROOT = Path(__file__).parent.parent
# Lower stages first. A module may import from its own row or from rows above it in this list, never from below.
ORDER = [
    ["fingering_db.acoustics.arrays", "fingering_db.neighbours"],
    ["fingering_db.acoustics.air"],
    ["fingering_db.acoustics.tube", "fingering_db.acoustics.resonance", "fingering_db.acoustics.branches"],
    [
        "fingering_db.acoustics.ends",
        "fingering_db.acoustics.hole",
        "fingering_db.acoustics.embouchure",
        "fingering_db.acoustics.jet",
        "fingering_db.acoustics.jet_time",
    ],
    ["fingering_db.message"],
    ["fingering_db.touches", "fingering_db.toml_size"],
    ["fingering_db.pitch", "fingering_db.fingering", "fingering_db.store"],
    ["fingering_db.chart"],
    ["fingering_db.mistakes"],
    ["fingering_db.instrument"],
    ["fingering_db.instrument_text", "fingering_db.mechanism", "fingering_db.uncertainty"],
    ["fingering_db.hearing"],
    ["fingering_db.trials"],
    ["fingering_db.player_log"],
    ["fingering_db.sounding", "fingering_db.hand"],
    ["fingering_db.halves", "fingering_db.playability", "fingering_db.fitting", "fingering_db.played"],
    ["fingering_db.alternatives"],
    ["fingering_db.halves", "fingering_db.playability", "fingering_db.fitting"],
    ["fingering_db.model", "fingering_db.family", "fingering_db.retuning", "fingering_db.atlas"],
    [
        "fingering_db.bands",
        "fingering_db.search",
        "fingering_db.slide_search",
        "fingering_db.idle",
    ],
    ["fingering_db.survey"],
    ["fingering_db.setting"],
    ["fingering_db.ranking", "fingering_db.tuning"],
    ["fingering_db.evidence"],
    [
        "fingering_db.at_once",
        "fingering_db.listening",
        "fingering_db.nearby",
        "fingering_db.track",
        "fingering_db.shifts",
        "fingering_db.motion",
        "fingering_db.colour",
    ],
    ["fingering_db.player_fit"],
    ["fingering_db.log_table"],
    ["fingering_db.experienced"],
    ["fingering_db.glide"],
    ["fingering_db.glide_by_slide", "fingering_db.glide_by_fingers"],
    ["fingering_db.catalogue"],
    ["annotate.place", "annotate.output"],
    ["annotate.language"],
    ["annotate.findings"],
    ["annotate.score"],
    ["annotate.files.errors", "annotate.files.doctype"],
    ["annotate.files.archive", "annotate.files.encoding", "annotate.files.own_marks", "annotate.demand"],
    ["annotate.files.own_rows"],
    [
        "annotate.files.placing",
        "annotate.files.container",
        "annotate.files.stripping",
        "annotate.decision",
        "annotate.answers",
        "annotate.reading",
        "annotate.decisions",
        "annotate.weights",
    ],
    [
        "annotate.files.writing",
        "annotate.detecting",
        "annotate.drawing.diagram",
        "annotate.drawing.picture",
        "annotate.drawing.path_picture",
    ],
    ["annotate.wording", "annotate.choosing", "annotate.questions", "annotate.numbering", "annotate.since"],
    ["annotate.model_sound"],
    ["annotate.crowding"],
    ["annotate.marking", "annotate.drawing.picture_files", "annotate.report"],
    ["annotate.drawing.picture_folder"],
    ["annotate.musescore.program", "annotate.musescore.native", "annotate.musescore.selfcheck"],
    ["annotate.musescore.form"],
    ["annotate.forms"],
    ["annotate.watching", "annotate.accepted"],
    ["annotate.pipeline"],
    ["annotate.pack.completing"],
    [
        "annotate.pack.markup",
        "annotate.pack.look",
        "annotate.pack.fonts",
        "annotate.pack.part_copy",
        "annotate.pack.resting",
        "annotate.pack.turns",
    ],
    ["annotate.pack.engraving", "annotate.pack.typeset", "annotate.pack.figures", "annotate.pack.legends"],
    ["annotate.pack.part_pages", "annotate.pack.svg_out", "annotate.pack.charts", "annotate.pack.entries"],
    ["annotate.pack.paper", "annotate.pack.speech", "annotate.pack.sounds", "annotate.pack.folder"],
    ["annotate.pack.cards"],
    ["annotate.pack.page", "annotate.pack.sheet"],
    ["annotate.pack.prepare"],
    ["annotate.pack.report_file"],
    ["annotate.musescore.plugin"],
    ["annotate.instruments", "annotate.player"],
    ["annotate.catalogue"],
    ["annotate.console"],
    ["annotate.telling", "annotate.usage"],
    ["annotate.options"],
    ["annotate.commands"],
    ["annotate.cli"],
    ["annotate.start"],
    ["annotate.ventwise"],
]
RANK = {name: rank for rank, row in enumerate(ORDER) for name in row}


def modules():
    return sorted(
        path for package in ("annotate", "fingering_db") for path in (ROOT / package).rglob("*.py")
        if path.name != "__init__.py"
    )  # fmt: skip


def name_of(path):
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


def rank_of(name):
    parts = name.split(".")
    for end in range(len(parts), 0, -1):
        if ".".join(parts[:end]) in RANK:
            return RANK[".".join(parts[:end])]
    raise AssertionError(f"{name} has no place in the order of modules")


def imports(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if (
            isinstance(node, ast.ImportFrom)
            and node.module
            and node.module.split(".")[0] in ("annotate", "fingering_db")
        ):
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                is_module = (ROOT / Path(*whole.split("."))).with_suffix(".py").exists()
                yield whole if is_module else node.module
        elif isinstance(node, ast.Import):
            yield from (a.name for a in node.names if a.name.split(".")[0] in ("annotate", "fingering_db"))


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_a_module_imports_only_from_earlier_stages(path):
    own = name_of(path)
    for imported in imports(path):
        if imported not in ("annotate", "fingering_db"):
            assert rank_of(imported) <= rank_of(own), f"{own} imports {imported}"


def test_what_is_kept_between_runs_depends_on_every_module_that_computes_it():
    needed, open_ = set(), ["fingering_db.survey"]
    while open_:
        name = open_.pop()
        if name not in needed:
            needed.add(name)
            open_ += [one for one in imports(ROOT / f"{name.replace('.', '/')}.py") if one != "fingering_db"]
    assert {f"fingering_db.{name.replace('/', '.')}" for name in (*COMPUTES, *TELLS_ONLY)} == needed


def test_fingering_db_never_imports_annotate():
    for path in modules():
        if name_of(path).startswith("fingering_db"):
            assert not [name for name in imports(path) if name.startswith("annotate")]


def test_packages_have_no_re_exports():
    for path in [*(ROOT / "annotate").rglob("__init__.py"), *(ROOT / "fingering_db").rglob("__init__.py")]:
        if path.parent.name == "ventwise":
            continue  # the face: what `import ventwise` gives
        body = ast.parse(path.read_text(encoding="utf-8")).body
        assert len(body) == 1 and isinstance(body[0], ast.Expr), path


def test_every_package_is_installed_and_the_face_under_its_own_name():
    told = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    folders = [
        path.parent.relative_to(ROOT)
        for name in ("annotate", "fingering_db")
        for path in (ROOT / name).rglob("__init__.py")
    ]
    places = {told["package-dir"].get(name, name.replace(".", "/")) for name in told["packages"]}
    assert places == {folder.as_posix() for folder in folders}


def test_only_the_command_line_prints_or_exits():
    for path in modules():
        if name_of(path) in (
            "annotate.cli",
            "fingering_db.fitting",
            "fingering_db.family",
            "fingering_db.evidence",
        ):
            continue
        names = {n.id for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Name)}
        assert not names & {"print", "exit", "quit"}, path


def test_no_function_is_longer_than_a_screen():
    long = [
        f"{path.relative_to(ROOT)}: {node.name}, {node.end_lineno - node.lineno + 1} lines"
        for package in ("annotate", "fingering_db")
        for path in (ROOT / package).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and node.end_lineno - node.lineno >= 60
    ]
    assert not long
