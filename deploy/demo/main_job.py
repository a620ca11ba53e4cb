"""The demo's first half: reels go over by hand, one command each; a flipped bit is refused and mended."""

import hashlib
from pathlib import Path

from deploy.demo import programme, reasons
from deploy.demo.film import RESCAN_START, START, write_edit, write_rescan, write_scan
from deploy.demo.house import FILE, SITES, House, UnexpectedError, tell
from deploy.demo.records import GRADING_DESK, write_record

FRAMES = 80
CUT_SHORT = 25


def draw(house: House) -> None:
    """Make the film: three prints of reel 1, each with frames missing, and a rescan."""
    tell("Drawing a film that never was: reel 1 of three worn prints, and a rescan.")
    for print_name, site in (("A", "halifax"), ("B", "halifax"), ("C", "tokyo")):
        missing = write_scan(house / site / "scans" / f"{print_name}_R01", print_name, 1, FRAMES)
        print(f"  print {print_name}, scanned in {site}: {FRAMES - len(missing)} of {FRAMES} frames; lost: {missing}")
    found = write_rescan(house / "halifax" / "scans" / "A_R01_wet_gate", "A", 1, FRAMES)
    print(f"  print A again, in the wet gate: {len(found)} frames are better, one of them was thought lost")


def found_production(house: House) -> None:
    tell("Lisbon founds the production; the store is asked for its promises first.")
    house.relay("lisbon", "production", "create", FILE, "--store", house / "store")
    tell("Each of the other sites is invited, and joins with a key of its own. Oslo is the venue.")
    for site in SITES[1:]:
        letter = house / "lisbon" / f"{site}.invitation"
        house.relay("lisbon", "site", "invite", site, "--into", letter, quiet=True)
        house.relay(site, "site", "join", letter, quiet=True)
    house.relay("lisbon", "site", "list")


def look_before_sending(house: House) -> None:
    scan = house / "halifax" / "scans" / "B_R01"
    tell("Halifax looks at print B before it goes. A disk ran full: one file is cut short. The gap is the print's own.")
    short = sorted(scan.glob("*.dpx"))[CUT_SHORT]
    good = short.read_bytes()
    short.write_bytes(good[: len(good) // 2])
    said = house.relay("halifax", "inspect", scan, "--reel", "B/R01", ends=2)
    if "truncated" not in said or "gap" not in said:
        raise UnexpectedError("the inspection must name the file that is cut short, and the gap")
    short.write_bytes(good)
    print("  That frame was scanned again.")


def send_scans(house: House) -> None:
    scans = house / "halifax" / "scans"
    mark = ("--start-mark", str(START))
    tell("Reel 1 goes over by hand: Halifax and Tokyo send their scans. The start mark ties file numbers to frames.")
    house.relay("halifax", "send", scans / "A_R01", "A/R01", *mark, "--note", "dry scan; decay in the middle")
    house.relay("halifax", "send", scans / "B_R01", "B/R01", *mark)
    house.relay("tokyo", "send", house / "tokyo" / "scans" / "C_R01", "C/R01", *mark)


def grade(house: House) -> None:
    arrived, graded = house / "kolkata" / "arrived" / "A_R01", house / "kolkata" / "graded" / "A_R01"
    tell("In Kolkata print A arrives, every byte verified, and a receipt is signed.")
    house.relay("kolkata", "fetch", "A/R01", arrived)
    tell("Kolkata grades some shots and sends the reel on. Frames that did not change are not sent again.")
    changed = write_edit(graded, arrived, "A", 1, FRAMES)
    write_record(graded, "decay and scratches mended, and the picture steadied", GRADING_DESK, changed)
    house.relay("kolkata", "send", graded, "A/R01", "--note", f"graded: {len(changed)} frames")


def rescan(house: House) -> None:
    tell("Halifax scanned the decayed stretch again, with other file numbers. The reel's own numbers stay.")
    wet_gate = house / "halifax" / "scans" / "A_R01_wet_gate"
    write_record(wet_gate, "scanned again, in the wet gate", "the scanner in Halifax")
    words = ("--start-mark", str(RESCAN_START), "--parent", "A/R01/v1", "--note", "wet gate; one lost frame found")
    house.relay("halifax", "send", wet_gate, "A/R01", *words)
    house.relay("lisbon", "reel", "compare", "A/R01/v1", "A/R01/v2")
    house.relay("lisbon", "reel", "show", "A/R01")


def break_and_mend(house: House) -> None:
    scan, arrived = house / "halifax" / "scans" / "B_R01", house / "tokyo" / "arrived" / "B_R01"
    tell("Now something breaks: one bit of one frame of print B flips in the store.")
    frame = sorted(scan.glob("*.dpx"))[40]
    print(f"  flipped one bit in the object of {frame.name}: {flip_a_bit(house / 'store', frame)}")
    tell("Tokyo fetches print B. It is refused, the file is named, and nothing lies under the final name.")
    house.relay("tokyo", "fetch", "B/R01", arrived, ends=4)
    if arrived.exists():
        raise UnexpectedError(f"{arrived} must not be there")
    tell("Halifax has the good copy and may mend. Tokyo fetches again: only what was bad comes over the line.")
    house.relay("halifax", "mend", "B/R01/v1", scan)
    house.relay("tokyo", "fetch", "B/R01", arrived)


def flip_a_bit(store: Path, frame: Path) -> str:
    """Flip the lowest bit of one byte in the middle of the object that holds `frame`, and return its short name."""
    digest = hashlib.sha256(frame.read_bytes()).hexdigest()
    held = store / "by-digest" / digest[:2] / digest
    body = bytearray(held.read_bytes())
    body[len(body) // 2] ^= 1
    held.chmod(0o644)
    held.write_bytes(body)
    return f"by-digest/{digest[:2]}/{digest[:16]}..."


def set_to_music(house: House) -> None:
    programme.fit(house, FRAMES)
    programme.cut(house, FRAMES)


def put_together(house: House) -> None:
    programme.put_together(house, FRAMES)
    programme.cut_again(house, FRAMES)


def say_why(house: House) -> None:
    reasons.decide(house, FRAMES)
    reasons.ask_why(house, FRAMES)
    reasons.account(house)


def check_and_export(house: House) -> None:
    tell("Kolkata checks the whole record by itself, with no line to anybody.")
    house.relay("kolkata", "ledger", "check")
    tell("Lisbon writes the rescan as a bag, which the archive can check without Relay.")
    house.relay("lisbon", "export", "bag", "A/R01/v3", house / "lisbon" / "A_R01_bag")


PARTS = (
    draw,
    found_production,
    look_before_sending,
    send_scans,
    grade,
    rescan,
    break_and_mend,
    set_to_music,
    put_together,
    say_why,
    check_and_export,
)
