"""`coverage-audit loss`: a station of real folders is audited, then asked what is lost with each of its parts."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from coverage_audit.estate.shipped import defaults_folder
from tests.parts.station import Station

ESTATE = """
rehearsal: true
sites: {station: {name: Field station}, barn: {name: Long Barn}}
devices:
  kestrel:
    site: station
    access: local
    failure_domains: {room: lab, account: admin}
    link: 1 Gbit/s
    volumes:
      main:
        path: {root}/kestrel
        medium: hdd
        drives: [{size: 4 TB, count: 3, in_service: 2019-03-02}, {size: 8 TB}]
        parity: {kind: spread, drives: 1}
      scratch: {path: {root}/scratch, medium: ssd}
  heron:
    site: station
    access: local
    failure_domains: {room: boat-house, account: admin}
    link: 100 Mbit/s
    volumes: {pool: {path: {root}/heron, medium: hdd}}
  avocet:
    site: station
    access: local
    runs_on: kestrel
    volumes: {images: {path: {root}/avocet, medium: hdd, stored_on: "kestrel:main"}}
  curlew:
    site: barn
    access: local
    failure_domains: {account: admin}
    volumes: {space: {path: {root}/curlew, medium: ssd, immutable: true}}
policies:
  irreplaceable: {copies: 3, media: 2, offsite: 1, max_age: 26h}
  plain: {copies: 2, max_age: 26h}
  sole: {copies: 1, max_age: 26h}
datasets:
  recordings:
    policy: irreplaceable
    original: kestrel:main/recordings
    copies: [{at: heron:pool/recordings}, {at: curlew:space/recordings}]
  sheets:
    policy: plain
    original: kestrel:main/sheets
    copies: [{at: heron:pool/sheets}]
  images:
    policy: plain
    original: avocet:images/it
    copies: [{at: kestrel:main/images}]
  notes: {policy: sole, original: kestrel:scratch/notes, copies: []}
"""


def begun(station: Station) -> Station:
    """Declare it, fill it, and audit it once."""
    station.declare(ESTATE)
    for place in ("kestrel/recordings", "kestrel/sheets", "avocet/it", "scratch/notes"):
        for number in range(5):
            station.write(f"{place}/take-{number}.wav", bytes([number]) * 1000)
    station.mirror("kestrel/recordings", "heron/recordings")
    station.mirror("kestrel/recordings", "curlew/recordings")
    station.mirror("kestrel/sheets", "heron/sheets")
    station.mirror("avocet/it", "kestrel/images")
    station.night()
    return station


@pytest.fixture(scope="module")
def audited(tmp_path_factory: pytest.TempPathFactory) -> Station:
    """A station that every test only asks."""
    return begun(Station(root=tmp_path_factory.mktemp("station")))


def asked(station: Station, *words: str) -> dict[str, Any]:
    ran = station.called("loss", *words, "--json")
    schema = json.loads((defaults_folder() / "loss.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(ran.object, schema)
    return ran.object


def fates(station: Station, domain: str) -> dict[str, str]:
    (loss,) = asked(station, domain)["losses"]
    return {dataset["id"]: dataset["fate"] for dataset in loss["datasets"]}


def test_a_box_takes_its_guest_with_it_and_what_lies_on_both_alone(audited: Station) -> None:
    assert fates(audited, "kestrel") == {"images": "lost", "notes": "lost", "recordings": "held", "sheets": "held"}
    (loss,) = asked(audited, "kestrel")["losses"]
    assert loss["devices"] == ["kestrel", "avocet"]
    assert {"name": "avocet", "why": "avocet runs on kestrel"} in loss["also"]


def test_a_volume_takes_what_is_stored_on_it(audited: Station) -> None:
    assert fates(audited, "kestrel:main") == {"images": "lost", "recordings": "held", "sheets": "held"}
    assert fates(audited, "kestrel:scratch") == {"notes": "lost"}


def test_a_room_may_be_named_by_its_bare_name(audited: Station) -> None:
    assert fates(audited, "room=boat-house") == fates(audited, "boat-house")
    assert fates(audited, "boat-house") == {"recordings": "touched", "sheets": "touched"}


def test_a_site_takes_everything_that_stands_there(audited: Station) -> None:
    found = fates(audited, "station")

    assert found == {"images": "lost", "notes": "lost", "sheets": "lost", "recordings": "held"}


def test_one_password_erases_all_but_what_is_immutable(audited: Station) -> None:
    assert fates(audited, "account=admin") == {
        "images": "lost",
        "notes": "lost",
        "sheets": "lost",
        "recordings": "held",
    }
    (loss,) = asked(audited, "account=admin")["losses"]
    assert {"name": "curlew:space", "why": "curlew:space is declared immutable"} in loss["survives"]


def test_a_drive_of_a_volume_that_stands_its_loss_takes_nothing(audited: Station) -> None:
    (loss,) = asked(audited, "kestrel:main#4")["losses"]

    assert loss["datasets"] == []
    assert loss["drive"]["rebuild"]["stands"] == 0
    at_stake = {one["dataset"] for one in loss["drive"]["at_stake"]}
    assert at_stake == {"images"}, "it lies on that volume alone: recordings and sheets are proven on heron"


def test_larger_drives_are_reckoned_before_and_after(audited: Station) -> None:
    (loss,) = asked(audited, "kestrel:main", "--replace", "4TB=8TB", "--count", "3")["losses"]

    assert loss["drive"]["array"]["usable"] == 12 * 10**12  # four slices of 4 TB, one of them parity
    assert loss["drive"]["replaced"]["usable"] == 24 * 10**12


def test_the_drive_that_gives_way_is_the_one_that_is_out(audited: Station) -> None:
    (loss,) = asked(audited, "kestrel:main", "--replace", "8TB=16TB")["losses"]

    assert loss["drive"]["number"] == 4


def test_the_drives_of_a_volume_are_told_apart_from_the_loss_of_all_of_it(audited: Station) -> None:
    page = audited.root / "loss.html"
    ran = audited.called("loss", "kestrel:main", "--replace", "4TB=8TB", "--html", str(page))

    gone, apart, drives = ran.out.partition("Apart from that: kestrel:main while drive 1 is out")
    assert apart
    assert "This is another question: kestrel:main stays, and its drives are replaced." in " ".join(drives.split())
    assert "Until the drive is made up" not in gone
    body = page.read_text(encoding="utf-8")
    section = body[body.index('<h2 id="drives-') :]
    assert "Usable, replaced" in section
    assert "Usable, replaced" not in body[: body.index('<h2 id="drives-')]
    assert "<h4>" not in section


def test_what_is_behind_falls_back(station: Station) -> None:
    audited = begun(station)
    audited.write("kestrel/sheets/new.ods", b"new" * 100, age=timedelta(hours=1))
    audited.night()

    (loss,) = asked(audited, "kestrel")["losses"]
    (sheets,) = (one for one in loss["datasets"] if one["id"] == "sheets")
    assert sheets["fate"] == "falls_back"
    assert sheets["not_held"] == {"files": 1, "bytes": 300}
    assert sheets["since"] is not None
    assert sheets["restore"]["slowest"] == "the link of heron"


def test_a_copy_that_is_not_proven_may_hold_it_and_no_more(station: Station) -> None:
    audited = begun(station)
    text = audited.estate_file.read_text()
    audited.estate_file.write_text(
        text.replace("{copies: 2, max_age: 26h}", "{copies: 2, max_age: 26h, proof: restored}")
    )
    audited.night()

    (loss,) = asked(audited, "kestrel")["losses"]
    (sheets,) = (one for one in loss["datasets"] if one["id"] == "sheets")
    assert sheets["fate"] == "not_shown"
    assert sheets["best"] is None
    assert sheets["left"][0]["holds"] == "not_shown"


def test_what_is_left_is_held_against_the_policy_again(audited: Station) -> None:
    (loss,) = asked(audited, "heron")["losses"]
    below = {one["id"]: {each["rule"] for each in one["below_policy"]} for one in loss["datasets"]}

    assert "enough-copies" in below["recordings"]
    assert all(
        each["new"] for one in loss["datasets"] for each in one["below_policy"] if each["rule"] == "enough-copies"
    )


def test_the_fewest_failures_that_lose_each_dataset(audited: Station) -> None:
    cuts = {one["dataset"]: one["sets"] for one in asked(audited)["cut_sets"]}

    assert cuts["notes"][0]["order"] == 1
    assert {
        domain for one in cuts["sheets"] if one["order"] == 1 for f in one["failures"] for domain in f["any_of"]
    } == {
        "account=admin",
        "site=station",
    }
    assert all(one["order"] > 1 for one in cuts["recordings"])
    assert any(
        {tuple(f["any_of"]) for f in one["failures"]}
        == {("account=admin", "site=station"), ("curlew", "curlew:space", "site=barn")}
        for one in cuts["recordings"]
    ), cuts["recordings"]


def test_all_of_them_stand_in_one_table_the_worst_first(audited: Station) -> None:
    losses = [one["domain"] for one in asked(audited)["losses"]]

    assert set(losses[:2]) == {"site=station", "account=admin"}
    assert "kestrel:scratch" in losses
    assert "heron:pool" not in losses, "a box's only volume falls with the box"


def test_the_status_says_whether_something_is_lost_whole(audited: Station) -> None:
    assert audited.called("loss", "heron").status == 0
    assert audited.called("loss", "kestrel").status == 1
    assert audited.called("loss").status == 1


def test_in_words_it_reads_as_sentences(audited: Station) -> None:
    out = audited.command("loss", "kestrel").out

    assert "With the device kestrel gone 2 datasets are lost whole." in " ".join(out.split())
    assert "Best copy: heron:pool/sheets, holds it" in " ".join(out.split())
    assert not any(line.endswith(" ") for line in out.splitlines())


def test_what_nobody_declared_is_refused_with_the_nearest_name(audited: Station) -> None:
    ran = audited.called("loss", "kestrle")

    assert ran.status == 64
    assert "did you mean 'kestrel'?" in ran.err


def test_without_an_audit_there_is_nothing_to_go_by(station: Station) -> None:
    station.declare(ESTATE)
    ran = station.called("loss")

    assert ran.status == 69
    assert "no audit of all datasets is recorded" in ran.err


def test_fresh_audits_first(station: Station) -> None:
    station.declare(ESTATE)
    for place in ("kestrel/recordings", "kestrel/sheets", "avocet/it", "scratch/notes", "heron", "curlew"):
        station.write(f"{place}/a.wav")

    assert station.called("loss", "kestrel", "--fresh").status == 1


def test_what_was_declared_since_counts_for_nothing_and_is_said(station: Station) -> None:
    audited = begun(station)
    text = audited.estate_file.read_text()
    audited.estate_file.write_text(
        text.replace("copies: [{at: heron:pool/sheets}]", "copies: [{at: curlew:space/sheets}]")
    )

    found = asked(audited, "kestrel")

    assert found["unjudged"] == ["sheets at curlew:space/sheets"]
    assert found["declared_since"]
    assert {one["id"]: one["fate"] for one in found["losses"][0]["datasets"]}["sheets"] == "lost"


def test_the_pages_are_written(audited: Station, tmp_path: Path) -> None:
    page, sheet = tmp_path / "loss.html", tmp_path / "sheet.html"
    ran = audited.called("loss", "kestrel", "--html", str(page), "--sheet", str(sheet))

    assert ran.status == 1, ran.err

    assert "kestrel" in page.read_text(encoding="utf-8")
    assert "heron" in sheet.read_text(encoding="utf-8")


def test_the_sheet_of_nothing_named_is_the_auditors_own_with_or_without_an_audit(station: Station) -> None:
    station.declare(ESTATE)
    sheet = station.root / "auditor.html"

    assert station.called("loss", "--sheet", str(sheet)).status == 69
    assert "estate.yaml" in sheet.read_text(encoding="utf-8")


def test_what_a_link_between_sites_has_to_carry_is_told_and_what_nothing_shows_of_it_is_not_said_to_fit(
    audited: Station,
) -> None:
    (link,) = asked(audited)["links"]
    assert (link["device"], link["bits_a_second"], link["datasets"]) == ("kestrel", 10**9, ["recordings"])
    assert (link["whole"], link["fits"], link["growth_not_known"]) == (5000, None, ["recordings"])
    assert asked(audited, "kestrel")["links"] == []

    said = " ".join(audited.command("loss").out.split())
    assert "kestrel (Field station, 1 Gbit/s): how fast recordings grows is not known yet, so whether it fits" in said


def test_a_later_audit_of_some_datasets_that_found_worse_is_not_passed_over(station: Station) -> None:
    audited = begun(station)
    for file in (audited.root / "heron/sheets").iterdir():
        file.unlink()
    audited.night("sheets")

    found = asked(audited, "kestrel")

    assert found["unjudged"] == ["sheets, which a later audit of some datasets found nonconforming"]
    assert "sheets" not in {one["id"] for one in found["losses"][0]["datasets"]}


def test_an_audit_of_days_ago_is_told_as_such_and_is_no_good_news(station: Station) -> None:
    station.ahead = -timedelta(days=3)
    audited = begun(station)

    ran = audited.called("loss", "heron")

    assert ran.status == 69
    assert "3 days ago; nothing since is proven" in " ".join(ran.out.split())


def test_two_names_of_one_machine_are_lost_together(station: Station) -> None:
    station.declare(
        """
        sites: {station: {name: Field station}}
        devices:
          kestrel:
            {site: station, access: local, volumes: {main: {path: {root}/kestrel, medium: hdd, on_root: true}}}
          heron: {site: station, access: local, volumes: {pool: {path: {root}/heron, medium: hdd, on_root: true}}}
        policies: {plain: {copies: 2, max_age: 26h}}
        datasets:
          sheets: {policy: plain, original: kestrel:main/sheets, copies: [{at: heron:pool/sheets}]}
        """
    )
    station.write("kestrel/sheets/a.ods")
    station.mirror("kestrel/sheets", "heron/sheets")
    station.night()

    (loss,) = asked(station, "kestrel")["losses"]

    assert {one["id"]: one["fate"] for one in loss["datasets"]} == {"sheets": "lost"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("kestrel:main", "--replace", "4TB"), "there is no ="),
        (("kestrel:main", "--replace", "4TB=8KB"), "ambiguous"),
        (("kestrel:main", "--count", "2"), "--count says how many drives give way"),
        (("--count", "1"), "say which ones, too, with --replace OLD=NEW"),
        (("kestrel:main", "--replace", "6TB=8TB"), "cannot be replaced: the array has 0 of them"),
        (
            ("kestrel:main", "--replace", "4TB=8TB", "--count", "4"),
            "4 drives of 4.0 TB cannot be replaced: the array has 3 of them",
        ),
        (("kestrel", "--replace", "4TB=8TB"), "needs a volume whose `drives` are declared"),
        (("--replace", "4TB=8TB"), "needs a volume whose `drives` are declared"),
        (("heron:pool", "--replace", "4TB=8TB"), "needs a volume whose `drives` are declared"),
    ],
)
def test_a_replacement_that_makes_no_sense_is_refused_in_one_message(
    audited: Station, words: tuple[str, ...], said: str
) -> None:
    ran = audited.called("loss", *words)

    assert ran.status == 64
    assert said in ran.err
    assert ran.out == ""
